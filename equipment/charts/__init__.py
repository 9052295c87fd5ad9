"""Figures of the equipment pages: numbers in, places on a picture out."""

from equipment.charts.due import AHEAD_DAYS, BACK_DAYS, DueBar, Timeline, due_bar, due_timeline
from equipment.charts.plot import Plot, PlotFrame

__all__ = ["AHEAD_DAYS", "BACK_DAYS", "DueBar", "Plot", "PlotFrame", "Timeline", "due_bar", "due_timeline"]
