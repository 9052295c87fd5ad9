"""Figures of the equipment pages."""

from __future__ import annotations

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
