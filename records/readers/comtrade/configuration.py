"""The configuration of a COMTRADE record: channels, rates, dates, and how the data are laid out."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from records.readers.refusals import RecordDamaged, RecordTruncated

FILE_TYPES = ("ASCII", "BINARY", "BINARY32", "FLOAT32")
_REVISIONS = (1991, 1999, 2001, 2013)
_COUNTS = re.compile(r"^(\d{1,6}),(\d{1,6})[Aa],(\d{1,6})[Dd]$")
_DATE = re.compile(r"^(\d{1,2})/(\d{1,2})/(\d{2}|\d{4})$")
_CLOCK = re.compile(r"^(\d{1,2}):(\d{1,2}):(\d{1,2})(?:\.(\d{1,12}))?$")
_MICROSECOND_DIGITS = 6


@dataclass(frozen=True)
class Analog:
    """One analog channel.

    Attributes
    ----------
    name, unit : str
        As the file has them, stripped.
    factor, offset : float
        Value = factor × sample + offset, in `unit`.
    maximum : float
        Greatest sample that can be.
    primary, secondary : float
        Ratio of the transducer; 0 where the file states none (1991).
    side : str
        ``P`` where values are primary ones, ``S`` where they are secondary ones, or nothing.
    """

    name: str
    unit: str
    factor: float
    offset: float
    maximum: float
    primary: float = 0.0
    secondary: float = 0.0
    side: str = ""

    @property
    def to_primary(self) -> float:
        """What a value is multiplied by to be that on the primary side."""
        if self.side != "S" or self.primary <= 0 or self.secondary <= 0:
            return 1.0
        return self.primary / self.secondary


@dataclass(frozen=True)
class Configuration:
    """What the configuration states.

    Attributes
    ----------
    rates : tuple of (float, int)
        Samples a second [1/s] and the number of the last sample at that rate; empty where only time stamps tell.
    declared_samples : int
        Number of the last sample.
    stamp_s : float
        What a time stamp is multiplied by [s].
    start, trigger : datetime or None
        Without zone; None where they are no dates.
    """

    station: str
    device: str
    revision: int
    analogs: tuple[Analog, ...]
    digitals: tuple[str, ...]
    line_hz: float
    rates: tuple[tuple[float, int], ...]
    declared_samples: int
    start: datetime | None
    trigger: datetime | None
    file_type: str
    stamp_s: float
    dates: tuple[str, str]
    oddities: tuple[str, ...] = ()


class _Lines:
    """Lines that are not blank, each with its number in the file."""

    def __init__(self, text: str) -> None:
        rows = enumerate(re.split(r"\r\n|\n|\r", text), start=1)
        self._rows: Iterator[tuple[int, str]] = iter([(n, row) for n, row in rows if row.strip("\x1a \t\0")])
        self.number = 0

    def take(self, what: str) -> list[str]:
        """Return the cells of the next line."""
        self.number, row = next(self._rows, (self.number + 1, None))
        if row is None:
            raise RecordTruncated(
                f"The configuration ends before its {what} (row {self.number}). Fetch the record again.",
                row=self.number,
            )
        return [cell.strip() for cell in row.strip("\x1a\0").split(",")]

    def rest(self) -> list[str] | None:
        """Return the cells of the next line, or None at the end."""
        number, row = next(self._rows, (0, None))
        self.number = number or self.number
        return None if row is None else [cell.strip() for cell in row.strip("\x1a\0").split(",")]

    def number_in(self, cells: list[str], place: int, what: str, default: float | None = None) -> float:
        """Return a finite number of the present line."""
        text = cells[place] if place < len(cells) else ""
        if not text and default is not None:
            return default
        try:
            value = float(text) if text.isascii() and "_" not in text else math.nan
        except ValueError:
            value = math.nan
        if not math.isfinite(value):
            raise RecordDamaged(
                f"Row {self.number} of the configuration: “{text[:40]}” is no {what}. Correct it, or fetch the record "
                "again.",
                row=self.number,
            )
        return value


def parse(text: str) -> Configuration:
    """Return what the text of a configuration states.

    Parameters
    ----------
    text : str
        Whole file.

    Returns
    -------
    Configuration
        Frozen.

    Raises
    ------
    RecordTruncated
        It ends early.
    RecordDamaged
        A line is not what the revision asks for; its row is named.

    Notes
    -----
    Blank lines are passed over. Dates that are none are told as odd, not refused: no value depends on them.

    References
    ----------
    IEEE Std C37.111-1991, -1999, -2013 (IEC 60255-24), clauses on the configuration file: from memory; checked against
    openly licensed sample files of all three revisions.
    """
    lines = _Lines(text.lstrip("\ufeff"))
    head = lines.take("station")
    revision, said = _revision(head)
    analogs, digitals = _channels(lines)
    line_hz = lines.number_in(lines.take("line frequency"), 0, "line frequency", 0.0)
    rates, declared = _rates(lines)
    dates, moments = [], []
    for what in ("first sample", "trigger"):
        date = ",".join(lines.take(f"date of the {what}"))
        moment, words = _moment(date, revision, what)
        dates.append(date)
        moments.append(moment)
        said.extend(words)
    file_type = lines.take("type of the data file")[0].upper()
    if file_type not in FILE_TYPES:
        raise RecordDamaged(
            f"Row {lines.number} of the configuration: “{file_type[:20]}” is no type of data file; known are "
            f"{', '.join(FILE_TYPES)}.",
            row=lines.number,
        )
    rest = lines.rest()
    multiplier = lines.number_in(rest, 0, "time factor", 1.0) if rest else 1.0
    return Configuration(
        head[0], head[1] if len(head) > 1 else "", revision, analogs, digitals, line_hz, rates, declared, moments[0],
        moments[1], file_type, (multiplier or 1.0) * _tick_s(dates[0]), (dates[0], dates[1]), tuple(said),
    )  # fmt: skip


def _revision(head: list[str]) -> tuple[int, list[str]]:
    stated = head[2] if len(head) > 2 else ""
    if not stated:
        return 1991, []
    if stated.isdigit() and int(stated) in _REVISIONS:
        return int(stated), []
    return 1999, [f"The revision “{stated[:20]}” is not known; the configuration was read as one of 1999."]


def _channels(lines: _Lines) -> tuple[tuple[Analog, ...], tuple[str, ...]]:
    counts = _COUNTS.match(",".join(lines.take("number of channels")).replace(" ", ""))
    if counts is None:
        raise RecordDamaged(
            f"Row {lines.number} of the configuration must count the channels, as 4,3A,1D. Fetch the record again.",
            row=lines.number,
        )
    total, analogs, digitals = (int(count) for count in counts.groups())
    if total != analogs + digitals:
        raise RecordDamaged(
            f"Row {lines.number} of the configuration counts {analogs} analog and {digitals} digital channels but says "
            f"that there are {total}. Fetch the record again.",
            row=lines.number,
        )
    known = tuple(_analog(lines, place) for place in range(1, analogs + 1))
    names = (lines.take(f"digital channel {place} of {digitals}") for place in range(1, digitals + 1))
    return known, tuple(cells[1] if len(cells) > 1 else "" for cells in names)


def _analog(lines: _Lines, place: int) -> Analog:
    cells = lines.take(f"analog channel {place}")
    side = cells[12].upper() if len(cells) > 12 else ""
    return Analog(
        cells[1] if len(cells) > 1 else "",
        cells[4] if len(cells) > 4 else "",
        lines.number_in(cells, 5, "factor of a channel"),
        lines.number_in(cells, 6, "offset of a channel", 0.0),
        lines.number_in(cells, 9, "greatest sample of a channel", 0.0),
        lines.number_in(cells, 10, "primary value", 0.0),
        lines.number_in(cells, 11, "secondary value", 0.0),
        side if side in ("P", "S") else "",
    )


def _rates(lines: _Lines) -> tuple[tuple[tuple[float, int], ...], int]:
    count = int(lines.number_in(lines.take("number of sampling rates"), 0, "number of sampling rates"))
    if not 0 <= count < 1000:
        raise RecordDamaged(
            f"Row {lines.number} of the configuration: {count} is no number of sampling rates.", row=lines.number
        )
    rates, last = [], 0
    for place in range(max(count, 1)):
        cells = lines.take(f"sampling rate {place + 1}")
        rate = lines.number_in(cells, 0, "sampling rate", 0.0)
        end = lines.number_in(cells, 1, "number of the last sample")
        if rate < 0 or end < last or end > 1e12:
            raise RecordDamaged(
                f"Row {lines.number} of the configuration: {rate:.6g} samples a second up to sample {end:.12g} cannot "
                "be. Fetch the record again.",
                row=lines.number,
            )
        last = int(end)
        rates.append((rate, last))
    is_told = count > 0 and all(rate > 0 for rate, _ in rates)
    return (tuple(rates) if is_told else ()), last


def _tick_s(date: str) -> float:
    """Return the unit of the time stamps [s]: microseconds, or nanoseconds where the dates have more digits (2013)."""
    clock = _CLOCK.match(date.rsplit(",", 1)[-1])
    digits = len(clock[4] or "") if clock else 0
    return 1e-9 if digits > _MICROSECOND_DIGITS else 1e-6


def _moment(date: str, revision: int, what: str) -> tuple[datetime | None, list[str]]:
    """Return a date, day first since 1999 and month first in 1991, and what is odd about it."""
    day_text, _, clock_text = date.partition(",")
    day, clock = _DATE.match(day_text), _CLOCK.match(clock_text)
    if not day or not clock:
        return None, [f"The date of the {what}, “{date[:40]}”, is no date."]
    first, second, year = (int(part) for part in day.groups())
    if len(day[3]) == 2:
        year += 2000 if year < 70 else 1900
    months = (first, second) if revision == 1991 else (second, first)
    for swapped, (month, date_day) in enumerate((months, months[::-1])):
        try:
            fraction = int((clock[4] or "0")[:_MICROSECOND_DIGITS].ljust(_MICROSECOND_DIGITS, "0"))
            moment = datetime(year, month, date_day, int(clock[1]), int(clock[2]), int(clock[3]), fraction)
        except ValueError:
            continue
        words = f"The date of the {what}, “{day_text}”, has day and month exchanged."
        return moment, [words] if swapped else []
    return None, [f"The date of the {what}, “{date[:40]}”, cannot be."]
