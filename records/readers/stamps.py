"""Time stamps in a column: clock times and dates, turned into seconds from the first row."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime

import numpy as np

from records.readers.recording import Samples
from records.readers.refusals import MappingNeeded, NotANumber

_HALF = r"\s?([AaPp])\.?[Mm]\.?"  # marks of a clock of twelve hours
_CLOCK = re.compile(rf"^(\d{{1,4}}):(\d{{2}})(?::(\d{{2}}))?(?:[.,](\d{{1,9}}))?(?:{_HALF})?$")
_DATED = re.compile(
    r"^(?:(\d{4})[-/](\d{1,2})[-/](\d{1,2})|(\d{1,2})\.(\d{1,2})\.(\d{4}))[T ]+"
    rf"(\d{{1,2}}):(\d{{2}})(?::(\d{{2}})(?:[.,](\d{{1,9}}))?)?(?:{_HALF})?(Z|[+-]\d{{2}}:?\d{{2}})?$"
)
_DAY_S = 86_400.0
_HOURS_OF_DAY = 24

MINUTES, HOURS = "min:s", "h:min"
CLOCKS: Mapping[str, str] = {
    **dict.fromkeys((MINUTES, "min:sec", "mm:ss", "m:ss", "m:s", "MM:SS", "mm:ss.s"), MINUTES),
    **dict.fromkeys((HOURS, "hh:mm", "h:mm", "h:m", "HH:MM", "hour:min"), HOURS),
    **dict.fromkeys(("h:min:s", "h:mm:ss", "hh:mm:ss", "HH:MM:SS", "h:m:s", "h:mm:ss.s", "hh:mm:ss.s"), ""),
}
"""Spellings of what the parts of a clock are, as a head, units or a mapping say them; an empty text says all three."""

_CLOCK_HEADS = frozenset(("clock", "time of day", "clock time", "uhrzeit"))


def is_stamp(cell: str) -> bool:
    """Return whether a cell is a clock time (``10:15:02.5``, ``1:05 PM``) or a date with one.

    Dates are those of ISO 8601, or day.month.year.
    """
    return bool(_CLOCK.match(cell) or _DATED.match(cell))


def clock_of(head: str, unit: str | None) -> str:
    """Return what two parts of a clock are by the head of their column or its unit, or nothing where neither says it.

    Examples
    --------
    >>> clock_of("Elapsed", "mm:ss"), clock_of("Time (h:min)", None), clock_of("Time", None)
    ('min:s', 'h:min', '')
    """
    if unit is not None and unit.strip("[]() ") in CLOCKS:
        return CLOCKS[unit.strip("[]() ")]
    bracketed = re.search(r"[\(\[]\s*([^()\[\]]+?)\s*[\)\]]\s*$", head)
    if bracketed and bracketed[1] in CLOCKS:
        return CLOCKS[bracketed[1]]
    return HOURS if head.strip().casefold() in _CLOCK_HEADS else ""


def _seconds(hours: str, minutes: str, seconds: str | None, fraction: str | None, half: str | None) -> float | None:
    """Return seconds of hours, minutes and seconds; None where a part is beyond its end."""
    hour = int(hours)
    if half:
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + (12 if half in "pP" else 0)
    if int(minutes) > 59 or int(seconds or 0) > 60:  # a leap second is the sixtieth
        return None
    return hour * 3600 + int(minutes) * 60 + int(seconds or 0) + (float(f"0.{fraction}") if fraction else 0.0)


def _offset_s(zone: str | None) -> float:
    if not zone or zone == "Z":
        return 0.0
    sign = -1 if zone[0] == "-" else 1
    return sign * (int(zone[1:3]) * 3600 + int(zone[-2:]) * 60)


def _one(cell: str, clock: str = "") -> float | None:
    of_day = _CLOCK.match(cell)
    if of_day:
        first, second, third, fraction, half = of_day.groups()
        if third is None and half is None and clock == MINUTES:
            return _in_minutes(first, second, fraction)
        if third is None and fraction is not None:
            return None  # hours and minutes have no fraction
        return _seconds(first, second, third, fraction, half)
    dated = _DATED.match(cell)
    if not dated:
        return None
    year, month, day, day2, month2, year2, *clock_parts, zone = dated.groups()
    of_clock = _seconds(*clock_parts)
    if of_clock is None:
        return None
    try:
        date = datetime(int(year or year2), int(month or month2), int(day or day2), tzinfo=UTC)
    except ValueError:
        return None
    return date.timestamp() + of_clock - _offset_s(zone)


def _in_minutes(minutes: str, seconds: str, fraction: str | None) -> float | None:
    if int(seconds) > 59:
        return None
    return int(minutes) * 60 + int(seconds) + (float(f"0.{fraction}") if fraction else 0.0)


def _told_by(cells: Sequence[str | None]) -> str:
    """Return what the parts of clocks are where their numbers tell it: all three, or minutes and seconds.

    Two parts with a fraction, or with more in front than a day has hours, are minutes and seconds.

    Raises
    ------
    MappingNeeded
        Two parts that may be either.
    """
    parts = [found.groups() for cell in cells if (found := _CLOCK.match((cell or "").strip()))]
    two = [one for one in parts if one[2] is None and one[4] is None]
    if not two or len(two) < len(parts):
        return ""
    if any(fraction is not None for *_, fraction, _ in two) or any(int(one[0]) >= _HOURS_OF_DAY for one in two):
        return MINUTES
    raise MappingNeeded(
        f"The times, as “{(cells[0] or '').strip()[:40]}”, may be minutes and seconds or hours and minutes. Say which "
        f"by the unit of the time column: {MINUTES} or {HOURS}."
    )


def moment_of(cell: str) -> datetime | None:
    """Return the date and time that a stamp states, in UTC where it names a zone; None for a clock time alone."""
    seconds = _one(cell.strip()) if _DATED.match(cell.strip()) else None
    try:
        return None if seconds is None else datetime.fromtimestamp(seconds, tz=UTC).replace(tzinfo=None)
    except (ValueError, OverflowError):
        return None  # a zone that leads out of the calendar


def seconds_from_first(
    cells: Sequence[str | None], *, first_line: int, clock: str | None = None
) -> tuple[Samples, bool]:
    """Return the seconds of each stamp from the first, and whether midnight was passed by a clock without date.

    Parameters
    ----------
    cells : sequence of str or None, (n,)
        Stamps as they stand in the file.
    first_line : int
        Line of the first of them in the file, counted from 1, for messages.
    clock : str, optional
        What two parts of a clock are, `MINUTES` or `HOURS`, where the file or a person says it.

    Returns
    -------
    tuple of (ndarray (n,), bool)
        Seconds from the first stamp [s]; whether one or more midnights were added.

    Raises
    ------
    NotANumber
        A cell is no stamp; its row is named.
    MappingNeeded
        Two parts of a clock may be minutes and seconds or hours and minutes.
    """
    clock = clock or _told_by(cells)
    seconds = np.empty(len(cells))
    for index, cell in enumerate(cells):
        value = _one((cell or "").strip(), clock)
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
    if is_clock and midnights.any() and clock != MINUTES:
        return seconds + midnights * _DAY_S - seconds[0], True
    return seconds - seconds[0], False
