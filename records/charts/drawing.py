"""The picture of an evaluation, whatever its kind: for the browser, for print, and in words."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np

from records.charts.browser import figure
from records.charts.curve import FittedCurve, curve_figure, curve_svg
from records.charts.laid_over import Overlaid, curves_over, impulses_over, sweeps_over
from records.charts.loading import channels_of, files_of, picture_of, words_of
from records.charts.plot import Plot
from records.charts.plot_browser import plot_figure
from records.charts.plot_vector import plot_svg
from records.charts.vector import figure_svg
from records.charts.waves import impulse_plot, impulse_words, sweep_plot, sweep_words
from records.evaluation.sweep.telling import trace_of
from records.models import Evaluation, Record
from records.models.procedure import document_of
from records.readers.recording import Samples

# Kinds whose picture is a plot: where the evaluation keeps what it needs of each record, how it is drawn and said.
_PLOTS: Mapping[str, tuple[str, Callable[..., Plot], Callable[[Mapping[str, Any]], str]]] = {
    "lightning_impulse": ("impulses", impulse_plot, impulse_words),
    "frequency_response": ("sweeps", sweep_plot, sweep_words),
}


_SMALLEST_OHM = 1e-12  # below it no analyser tells anything; it keeps the logarithm finite
_OVERLAYS: Mapping[str, Callable[[Sequence[Overlaid]], Plot]] = {
    "lightning_impulse": impulses_over,
    "frequency_response": sweeps_over,
}


def curve_of(evaluation: Evaluation) -> FittedCurve | None:
    """Return the curve that an evaluation kept, as of a cooling winding or an insulation, or None."""
    return FittedCurve.from_details(evaluation.document.get("details") or {})


def plot_of(evaluation: Evaluation, record: Record | None = None) -> Plot | None:
    """Return the plot of an evaluation with its whole curves, or None where its kind or its record has none.

    Of several files that were looked at side by side each has its own; `record` says which, else the principal one.
    """
    kept, channels = kept_of(evaluation, record), channels_of(evaluation, record)
    if kept is None or channels is None:
        return None
    _, draw, _ = _PLOTS[evaluation.run.step.kind]
    return draw(channels, kept, document_of(evaluation.run))


def kept_of(evaluation: Evaluation, record: Record | None = None) -> Mapping[str, Any] | None:
    """Return what the evaluation kept of a record: the one of the same digest, else the first."""
    wanted = record or evaluation.record
    digests = (wanted.sha256, wanted.summary.get("sha256"))
    kind = evaluation.run.step.kind
    if kind not in _PLOTS:
        return None
    rows = (evaluation.document.get("details") or {}).get(_PLOTS[kind][0]) or ()
    same = (row for row in rows if row.get("sha256") in digests)
    return next(same, rows[0] if rows else None)


def level_of(evaluation: Evaluation) -> tuple[Samples, Samples] | None:
    """Return frequencies [Hz] and magnitudes [dB] of a sweep as it was judged, or None where there is none."""
    kept, channels = kept_of(evaluation), channels_of(evaluation)
    if evaluation.run.step.kind != "frequency_response" or kept is None or channels is None:
        return None
    trace = trace_of(channels, kept)
    level = 20 * np.log10(np.maximum(trace.magnitude, _SMALLEST_OHM)) if trace.is_impedance else trace.magnitude
    return trace.frequency_hz, level


def pictured_files(evaluation: Evaluation) -> list[Record]:
    """Return the files that each have a picture of their own, where several were looked at side by side; else none."""
    files = files_of(evaluation) if evaluation.run.step.kind in _PLOTS else []
    return files if len(files) > 1 else []


def figure_of(
    evaluation: Evaluation, first: str | None = None, last: str | None = None, record: Record | None = None
) -> dict[str, Any] | None:
    """Return the picture of an evaluation for the browser, or None where there is none.

    Raises ValueError where the window that a reader asked for is none.
    """
    curve = curve_of(evaluation)
    if curve is not None:
        return curve_figure(curve)
    plot = plot_of(evaluation, record)
    if plot is not None:
        return plot_figure(plot, window=plot.window(first, last))
    picture = picture_of(evaluation)
    return None if picture is None else figure(picture, window=picture.window(first, last))


def svg_of(evaluation: Evaluation, record: Record | None = None) -> str | None:
    """Return the picture of an evaluation as one svg element for print, or None where there is none."""
    curve = curve_of(evaluation)
    if curve is not None:
        return curve_svg(curve)
    plot = plot_of(evaluation, record)
    if plot is not None:
        return plot_svg(plot)
    picture = picture_of(evaluation)
    return None if picture is None else figure_svg(picture)


def overlay_of(named: Sequence[tuple[str, Evaluation]]) -> Plot | None:
    """Return the pictures of several evaluations of one kind on top of each other, or None where none can be drawn.

    Records of a voltage over time have an overlay of their own, `overlay_figure`.
    """
    kind = named[0][1].run.step.kind
    if kind not in _PLOTS:
        curves = [(name, curve) for name, evaluation in named if (curve := curve_of(evaluation)) is not None]
        return curves_over(curves) if curves else None
    runs = [
        Overlaid(name, channels, kept)
        for name, evaluation in named
        if (channels := channels_of(evaluation)) is not None and (kept := kept_of(evaluation)) is not None
    ]
    return _OVERLAYS[kind](runs) if runs else None


def described(evaluation: Evaluation, record: Record | None = None) -> str:
    """Return in words what the picture of an evaluation shows; empty where there is nothing to draw."""
    kept, curve = kept_of(evaluation, record), curve_of(evaluation)
    if curve is not None:
        return curve.words
    if kept is not None:
        return _PLOTS[evaluation.run.step.kind][2](kept)
    is_table = "time_s" not in evaluation.record.summary.get("channels", ("time_s",))
    return "" if is_table else words_of(evaluation)
