"""Time stamps in a column: clock times and dates, turned into seconds from the first row."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import UTC, datetime

import numpy as np

from records.readers.recording import Samples
from records.readers.refusals import NotANumber

_CLOCK = re.compile(r"^(\d{1,2}):(\d{2})(?::(\d{2})(?:[.,](\d{1,9}))?)?$")
_DATED = re.compile(
    r"^(?:(\d{4})[-/](\d{1,2})[-/](\d{1,2})|(\d{1,2})\.(\d{1,2})\.(\d{4}))[T ]+"
    r"(\d{1,2}):(\d{2})(?::(\d{2})(?:[.,](\d{1,9}))?)?(Z|[+-]\d{2}:?\d{2})?$"
)
_DAY_S = 86_400.0


def is_stamp(cell: str) -> bool:
    """Return whether a cell is a clock time (``10:15:02.5``) or a date with one (ISO 8601, or day.month.year)."""
    return bool(_CLOCK.match(cell) or _DATED.match(cell))


def _seconds(hours: str, minutes: str, seconds: str | None, fraction: str | None) -> float:
    return int(hours) * 3600 + int(minutes) * 60 + int(seconds or 0) + (float(f"0.{fraction}") if fraction else 0.0)


def _offset_s(zone: str | None) -> float:
    if not zone or zone == "Z":
        return 0.0
    sign = -1 if zone[0] == "-" else 1
    return sign * (int(zone[1:3]) * 3600 + int(zone[-2:]) * 60)


def _one(cell: str) -> float | None:
    clock = _CLOCK.match(cell)
    if clock:
        return _seconds(*clock.groups())
    dated = _DATED.match(cell)
    if not dated:
        return None
    year, month, day, day2, month2, year2, *clock_parts, zone = dated.groups()
    try:
        date = datetime(int(year or year2), int(month or month2), int(day or day2), tzinfo=UTC)
    except ValueError:
        return None
    return date.timestamp() + _seconds(*clock_parts) - _offset_s(zone)


def moment_of(cell: str) -> datetime | None:
    """Return the date and time that a stamp states, in UTC where it names a zone; None for a clock time alone."""
    seconds = _one(cell.strip()) if _DATED.match(cell.strip()) else None
    try:
        return None if seconds is None else datetime.fromtimestamp(seconds, tz=UTC).replace(tzinfo=None)
    except (ValueError, OverflowError):
        return None  # a zone that leads out of the calendar


def seconds_from_first(cells: Sequence[str | None], *, first_line: int) -> tuple[Samples, bool]:
    """Return the seconds of each stamp from the first, and whether midnight was passed by a clock without date.

    Parameters
    ----------
    cells : sequence of str or None, (n,)
        Stamps as they stand in the file.
    first_line : int
        Line of the first of them in the file, counted from 1, for messages.

    Returns
    -------
    tuple of (ndarray (n,), bool)
        Seconds from the first stamp [s]; whether one or more midnights were added.

    Raises
    ------
    NotANumber
        A cell is no stamp; its row is named.
    """
    seconds = np.empty(len(cells))
    for index, cell in enumerate(cells):
        value = _one((cell or "").strip())
        if value is None:
            row = first_line + index
            raise NotANumber(
                f"Row {row}: “{(cell or '')[:40]}” is not a time stamp like the ones before it. "
                "Correct or remove the row.",
                row=row,
            )
        seconds[index] = value
    midnights = np.concatenate(([0.0], np.cumsum(np.diff(seconds) < -_DAY_S / 2)))
    is_clock = bool(cells) and _CLOCK.match((cells[0] or "").strip()) is not None
    if is_clock and midnights.any():
        return seconds + midnights * _DAY_S - seconds[0], True
    return seconds - seconds[0], False
