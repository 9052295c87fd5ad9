"""Pictures of a record: voltage above charge on one time axis, the plan drawn behind the data."""

from records.charts.browser import figure
from records.charts.loading import picture_of, words_of
from records.charts.picture import Band, Mark, Picture
from records.charts.vector import figure_svg

__all__ = ["Band", "Mark", "Picture", "figure", "figure_svg", "picture_of", "words_of"]
