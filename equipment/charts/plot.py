"""A small plot as places on a sheet: bands, lines, dots with spreads, and ticks; a template draws it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

WIDTH, HEIGHT = 720, 300
LEFT, RIGHT, TOP, FOOT = 70, 12, 12, 36
DAY_LABEL = 80  # how wide a day's label is


@dataclass(frozen=True)
class Tick:
    """A mark on an axis: its place and its words."""

    at: float
    words: str


@dataclass(frozen=True)
class Band:
    """A region across the plot, from one height to another."""

    y: float
    height: float
    kind: str


@dataclass(frozen=True)
class Trace:
    """A line through points, as SVG writes them."""

    points: str
    kind: str


@dataclass(frozen=True)
class Dot:
    """A value with its spread, and what it is in words."""

    x: float
    y: float
    low: float
    high: float
    kind: str
    words: str


@dataclass(frozen=True)
class Plot:
    """Everything that the template draws; `words` say what is to be seen."""

    words: str
    x_title: str
    y_title: str
    x_ticks: tuple[Tick, ...]
    y_ticks: tuple[Tick, ...]
    bands: tuple[Band, ...]
    traces: tuple[Trace, ...]
    dots: tuple[Dot, ...]
    width: int = WIDTH
    height: int = HEIGHT
    left: int = LEFT
    right: int = WIDTH - RIGHT
    top: int = TOP
    foot: int = HEIGHT - FOOT


class PlotFrame:
    """Places values on the sheet: first the ends of both axes, then what is drawn between them."""

    def __init__(self, x: tuple[float, float], y: tuple[float, float]) -> None:
        self.x, self.y = _widened(*x), _widened(*y)
        self._bands: list[Band] = []
        self._traces: list[Trace] = []
        self._dots: list[Dot] = []

    def across(self, value: float) -> float:
        """Return where a value lies across the sheet."""
        return LEFT + (value - self.x[0]) / (self.x[1] - self.x[0]) * (WIDTH - LEFT - RIGHT)

    def down(self, value: float) -> float:
        """Return where a value lies down the sheet, kept on it."""
        kept = min(max(value, self.y[0]), self.y[1])
        return TOP + (self.y[1] - kept) / (self.y[1] - self.y[0]) * (HEIGHT - TOP - FOOT)

    def band(self, low: float, high: float, kind: str) -> None:
        """Shade the region between two heights."""
        top, foot = self.down(high), self.down(low)
        self._bands.append(Band(round(top, 1), round(foot - top, 1), kind))

    def trace(self, points: Iterable[tuple[float, float]], kind: str) -> None:
        """Draw a line through points."""
        placed = (f"{self.across(x):.1f},{self.down(y):.1f}" for x, y in points)
        self._traces.append(Trace(" ".join(placed), kind))

    def level(self, height: float, kind: str) -> None:
        """Draw a line across at one height."""
        self.trace([(self.x[0], height), (self.x[1], height)], kind)

    def dot(self, x: float, y: float, spread: float, words: str, kind: str = "") -> None:
        """Draw a value with its spread on both sides."""
        low, high = self.down(y - spread), self.down(y + spread)
        self._dots.append(
            Dot(round(self.across(x), 1), round(self.down(y), 1), round(low, 1), round(high, 1), kind, words)
        )

    def plot(self, *, words: str, x_title: str, y_title: str, days: bool = False) -> Plot:
        """Return the finished plot; with `days` the x axis counts days of the calendar (ordinals)."""
        x_values = _even(*self.x, 6)
        if days:  # a day has a wide label, which must not be cut off at the edge
            x_values = [value for value in x_values if self.across(value) <= WIDTH - RIGHT - DAY_LABEL / 2]
        x_ticks = tuple(Tick(round(self.across(v), 1), _day(v) if days else f"{v:g}") for v in x_values)
        y_ticks = tuple(Tick(round(self.down(v), 1), f"{v:g}") for v in _even(*self.y, 5))
        drawn = (tuple(self._bands), tuple(self._traces), tuple(self._dots))
        return Plot(words, x_title, y_title, x_ticks, y_ticks, *drawn)


def ends(values: Sequence[float], margin: float = 0.08) -> tuple[float, float]:
    """Return the least and the greatest of some values, with a margin around them."""
    low, high = min(values), max(values)
    room = (high - low) * margin
    return low - room, high + room


def _widened(low: float, high: float) -> tuple[float, float]:
    if high > low:
        return low, high
    room = abs(low) * 0.1 or 1.0
    return low - room, high + room


def _even(low: float, high: float, count: int) -> list[float]:
    """Return round values between two ends, about so many."""
    raw = (high - low) / count
    size = 10 ** math.floor(math.log10(raw))
    step = next(size * factor for factor in (1, 2, 2.5, 5, 10) if size * factor >= raw)
    first = math.ceil(low / step)
    return [round(n * step, 12) for n in range(first, math.floor(high / step) + 1)]


def _day(ordinal: float) -> str:
    return f"{date.fromordinal(max(int(ordinal), 1)):%b %Y}"
