"""Due dates on a line of days: one bar on the board, or all of them as a timeline."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

BACK_DAYS = 120
AHEAD_DAYS = 400


@dataclass(frozen=True)
class DueBar:
    """The validity of one calibration drawn on a line of days around today; lengths in days."""

    start: int
    length: int
    today: int = BACK_DAYS
    width: int = BACK_DAYS + AHEAD_DAYS


def due_bar(performed_on: date | None, due_on: date | None, on: date) -> DueBar:
    """Return the bar from the calibration to its due date, cut at both ends of the line."""
    if performed_on is None or due_on is None:
        return DueBar(0, 0)
    first, last = (min(max((day - on).days, -BACK_DAYS), AHEAD_DAYS) for day in (performed_on, due_on))
    return DueBar(first + BACK_DAYS, last - first)


LEFT, STEP, TOP = 120, 26, 30


@dataclass(frozen=True)
class Month:
    """One month on the timeline: where it begins and its name."""

    x: int
    words: str


@dataclass(frozen=True)
class TimelineRow:
    """One bar of the timeline with what it stands for; lengths in days, places in units of the picture."""

    key: int
    label: str
    words: str
    tone: str
    x: int
    y: int
    length: int


@dataclass(frozen=True)
class Timeline:
    """Due dates of many instruments on one line of days, today marked."""

    rows: tuple[TimelineRow, ...]
    months: tuple[Month, ...]
    today: int
    width: int
    height: int


def due_timeline(rows: Iterable[tuple[int, str, str, str, date | None, date | None]], on: date) -> Timeline:
    """Return the timeline of a day from key, label, words, tone, day of calibration and due day of each instrument."""
    made = []
    for place, (key, label, words, tone, performed_on, due_on) in enumerate(rows):
        bar = due_bar(performed_on, due_on, on)
        made.append(TimelineRow(key, label, words, tone, LEFT + bar.start, TOP + STEP * place, bar.length))
    width = LEFT + BACK_DAYS + AHEAD_DAYS
    return Timeline(tuple(made), _months(on), LEFT + BACK_DAYS, width, TOP + STEP * len(made) + 6)


def _months(on: date) -> tuple[Month, ...]:
    firsts = (date(on.year + step // 12, step % 12 + 1, 1) for step in range(-12, 36, 2))
    places = [(LEFT + BACK_DAYS + (first - on).days, first) for first in firsts]
    last = LEFT + BACK_DAYS + AHEAD_DAYS - 40
    return tuple(Month(x, f"{first:%b %Y}") for x, first in places if LEFT <= x <= last)
