"""Curves over any axis in panes under one another: what the browser and the document draw alike."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from records.evaluation.thinning import thin
from records.readers.recording import Samples

Tone = Literal["main", "fit", "third", "faint"]
POINTS = 1200
"""Most points of a curve, in the browser and in the document alike."""


@dataclass(frozen=True)
class Curve:
    """One curve: its name in words, places (rising) and values (n,), and how it is drawn."""

    name: str
    x: Samples
    y: Samples
    tone: Tone = "main"


@dataclass(frozen=True)
class Region:
    """A region behind the data, from edge to edge where a side is None; a plan's band, or what a limit forbids."""

    words: str
    x: tuple[float | None, float | None] = (None, None)
    y: tuple[float | None, float | None] = (None, None)
    is_limit: bool = False


Side = Literal["middle right", "top right", "bottom right", "middle left"]


@dataclass(frozen=True)
class Point:
    """A marked point with its words, and on which side of it they stand clear of the curve."""

    words: str
    x: float
    y: float
    side: Side = "middle right"


@dataclass(frozen=True)
class Pane:
    """One pane with axes of its own; both titles carry the unit.

    Attributes
    ----------
    x_title, y_title : str
        With the unit.
    curves, regions, points
        What is drawn, the regions behind the curves.
    x_range, y_range : tuple of float
        Edges of the axes.
    is_log_x, is_log_y : bool
        Whether an axis is logarithmic.
    is_detail : bool
        Whether it shows a part of the pane above over an axis of its own; else all panes share the first one's.
    """

    x_title: str
    y_title: str
    curves: Sequence[Curve]
    regions: Sequence[Region]
    points: Sequence[Point]
    x_range: tuple[float, float]
    y_range: tuple[float, float]
    is_log_x: bool = False
    is_log_y: bool = False
    is_detail: bool = False


@dataclass(frozen=True)
class Plot:
    """Panes from top to bottom, and in words what they show."""

    panes: Sequence[Pane]
    words: str

    def thinned(self, window: tuple[float, float] | None = None, points: int = POINTS) -> Plot:
        """Return the same with every curve thinned by its extremes to at most `points` of the part that is shown.

        Parameters
        ----------
        window : tuple of float, optional
            First and last place to show in the panes that share the first axis.
        points : int
            Most points of a curve.

        Returns
        -------
        Plot
            What is drawn, by the browser and in the document alike.
        """
        return replace(self, panes=[_thinned(pane, window, points) for pane in self.panes])

    def window(self, first: str | None, last: str | None) -> tuple[float, float] | None:
        """Return the window that a reader asked for, cut to the first pane; None where he asked for none.

        On a logarithmic axis the two are powers of ten, as the browser's chart counts. Raises ValueError where they
        are no places in order.
        """
        if not first and not last:
            return None
        pane = self.panes[0]
        begins, ends = float(first or ""), float(last or "")
        if pane.is_log_x:
            begins, ends = 10 ** min(begins, 300.0), 10 ** min(ends, 300.0)
        low, high = max(begins, pane.x_range[0]), min(ends, pane.x_range[1])
        if not low < high:
            raise ValueError("The window lies outside the record.")
        return low, high


def _thinned(pane: Pane, window: tuple[float, float] | None, points: int) -> Pane:
    shown = pane.x_range if pane.is_detail or window is None else window
    curves = []
    for curve in pane.curves:
        x, y = thin(curve.x, curve.y, points, window=shown)
        curves.append(replace(curve, x=x, y=y))
    return replace(pane, curves=curves, x_range=shown)


def padded(low: float, high: float, *, is_log: bool = False, share: float = 0.08) -> tuple[float, float]:
    """Return the edges of an axis a little beyond the data."""
    if is_log:
        room = (high / low) ** share if high > low > 0 else 2.0
        return low / room, high * room
    room = share * (high - low) or abs(high) * share or 1.0
    return low - room, high + room


def ticks_between(low: float, high: float, *, is_log: bool) -> list[float]:
    """Return round values between the edges of an axis: some four to eight, or the decades with their 2 and 5."""
    if is_log:
        first, last = math.floor(math.log10(low)), math.ceil(math.log10(high))
        steps = (1, 2, 5) if last - first <= 3 else (1,)
        marks = [step * 10.0**power for power in range(first, last + 1) for step in steps]
        return [float(f"{mark:.12g}") for mark in marks if low <= mark <= high]
    raw = (high - low) / 6
    size = 10 ** math.floor(math.log10(raw))
    step = next(factor * size for factor in (1, 2, 5, 10) if factor * size >= raw * (1 - 1e-9))
    return [float(f"{place * step:.12g}") for place in range(math.ceil(low / step), math.floor(high / step) + 1)]
