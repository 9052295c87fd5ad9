"""Pictures of a record: voltage above charge on one time axis, the plan drawn behind; patterns, overlays, curves."""

from records.charts.browser import figure
from records.charts.curve import FittedCurve, curve_figure, curve_svg
from records.charts.drawing import (
    curve_of,
    described,
    figure_of,
    kept_of,
    level_of,
    overlay_of,
    pictured_files,
    plot_of,
    svg_of,
)
from records.charts.laid_over import patterns_figure
from records.charts.loading import aligned_of, pattern_of, pattern_words, picture_of, words_of
from records.charts.overlay import Layer, overlay_figure
from records.charts.pattern import Pattern, pattern_figure, pattern_svg
from records.charts.picture import Band, Mark, Picture
from records.charts.plot_browser import plot_figure
from records.charts.vector import figure_svg

__all__ = [
    "Band",
    "FittedCurve",
    "Layer",
    "Mark",
    "Pattern",
    "Picture",
    "aligned_of",
    "curve_figure",
    "curve_of",
    "curve_svg",
    "described",
    "figure",
    "figure_of",
    "figure_svg",
    "kept_of",
    "level_of",
    "overlay_figure",
    "overlay_of",
    "pattern_figure",
    "pattern_of",
    "pattern_svg",
    "pattern_words",
    "patterns_figure",
    "picture_of",
    "pictured_files",
    "plot_figure",
    "plot_of",
    "svg_of",
    "words_of",
]
