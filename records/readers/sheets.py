"""Where the table is in a sheet: rows of numbers, heads above them, units below the heads, merged cells."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from typing import Any

from records.readers.layout import NamedColumns
from records.readers.refusals import NoTable
from records.readers.units import is_unit

LOOKED_AT = 200  # rows from the top in which the table must begin
MOST_COLUMNS = 256
_SHOWN = 8
_EPOCH = datetime(1899, 12, 30)
_FIRST_DAY, _LAST_DAY = 20_000, 80_000  # 1954 to 2119: what a number must be to be taken for a date
_DATE_HEADS = frozenset(("date", "date time", "datetime", "timestamp", "time stamp", "date and time"))
_MERGE = re.compile(rb'<(?:\w+:)?mergeCell\s+ref="([A-Z]{1,3})(\d{1,7}):([A-Z]{1,3})(\d{1,7})"')

Row = Sequence[Any]


@dataclass(frozen=True)
class Grid:
    """The table of one sheet.

    Attributes
    ----------
    layout : NamedColumns
        Heads, units, first rows; `NamedColumns.first_row` is the sheet's row of the first numbers.
    metadata : mapping of str to str
        Pairs above the heads.
    serial_columns : frozenset of int
        Columns of dates that are written as numbers of days.
    """

    layout: NamedColumns
    metadata: Mapping[str, str] = field(default_factory=dict)
    serial_columns: frozenset[int] = frozenset()


def is_value(cell: Any) -> bool:
    """Return whether a cell holds a number, a date or a time."""
    return isinstance(cell, int | float | date | time | timedelta) and not isinstance(cell, bool)


def merged_ranges(xml: bytes) -> list[tuple[int, int, int, int]]:
    """Return merged ranges as first row, first column, last row, last column, counted from 1; at most a thousand."""
    found = []
    for match in list(_MERGE.finditer(xml))[:1000]:
        columns = [_number_of(match[place]) for place in (1, 3)]
        found.append((int(match[2]), columns[0], int(match[4]), columns[1]))
    return found


def _number_of(letters: bytes) -> int:
    number = 0
    for letter in letters:
        number = number * 26 + letter - ord("A") + 1
    return number


def grid_of(rows: Sequence[Row], merges: Sequence[tuple[int, int, int, int]]) -> Grid:
    """Return the table that the first rows of a sheet show.

    Parameters
    ----------
    rows : sequence of sequence
        First rows of the sheet, cells as Python values.
    merges : sequence of tuple of int
        Merged ranges; a merged head counts for each column below it.

    Returns
    -------
    Grid
        Frozen.

    Raises
    ------
    NoTable
        No row holds numbers.
    """
    filled = [list(row[:MOST_COLUMNS]) for row in rows]
    first, numeric = _first_row(filled)
    width = max(_width(row) for row in filled[: first + _SHOWN])
    filled = [[*row[:width], *[None] * (width - len(row))] for row in filled]
    _fill_merged(filled, merges, first, width)
    heads, units, used = _heads(filled[:first], numeric, width, merges)
    samples = [row for row in filled[first:] if any(cell is not None for cell in row)][:_SHOWN]
    serial = frozenset(
        place for place in numeric if heads[place].casefold() in _DATE_HEADS and _are_days([r[place] for r in samples])
    )
    shown = tuple(tuple(_text(cell, place in serial) for place, cell in enumerate(row)) for row in samples)
    layout = NamedColumns(heads, units, shown, first + 1, used > 0)
    return Grid(layout, _metadata(filled[: first - used]), serial)


def _width(row: Row) -> int:
    """Return the number of cells up to the last one that holds something."""
    return next((place for place in range(len(row), 0, -1) if row[place - 1] not in (None, "")), 0)


def _first_row(rows: Sequence[Row]) -> tuple[int, tuple[int, ...]]:
    """Return the first row of numbers and the columns that have them: the set of columns that most rows share."""
    shapes = [tuple(place for place, cell in enumerate(row) if is_value(cell)) for row in rows]
    counted = Counter(shape for shape in shapes if shape)
    if not counted:
        raise NoTable("No rows of numbers were found in the sheet. Check that the right file was chosen.")
    numeric = max(counted, key=lambda shape: (counted[shape] * len(shape), len(shape)))
    least = set(numeric)
    for place, shape in enumerate(shapes):
        if len(least & set(shape)) > len(least) / 2 and not _is_pair(rows[place], shape):
            return place, numeric
    return shapes.index(numeric), numeric


def _is_pair(row: Row, shape: Sequence[int]) -> bool:
    """Return whether a row is a name and its value, as above a table."""
    told = [cell for cell in row if cell is not None]
    return len(shape) == 1 and len(told) in (2, 3) and isinstance(told[0], str)


def _fill_merged(rows: list[list[Any]], merges: Sequence[tuple[int, int, int, int]], first: int, width: int) -> None:
    for top, left, bottom, right in merges:
        if top > first or left > width:
            continue
        value = rows[top - 1][left - 1]
        for row in rows[top - 1 : min(bottom, first)]:
            row[left - 1 : min(right, width)] = [value] * (min(right, width) - left + 1)


def _heads(
    above: Sequence[Row], numeric: Sequence[int], width: int, merges: Sequence[tuple[int, int, int, int]]
) -> tuple[tuple[str, ...], tuple[str, ...], int]:
    """Return heads, units and the number of rows that they take directly above the numbers."""
    units, used, remaining = ("",) * width, 0, list(above)
    while remaining and not any(_told(cell) for cell in remaining[-1]):
        remaining, used = remaining[:-1], used + 1
    if remaining and _is_row_of_units(remaining[-1]):
        units, used = tuple(_told(cell) for cell in remaining[-1]), used + 1
        remaining = remaining[:-1]
    if not remaining or not _is_row_of_heads(remaining[-1], numeric):
        return tuple(f"column {place + 1}" for place in range(width)), units, used
    heads, used = [_told(cell) for cell in remaining[-1]], used + 1
    groups = {row for top, left, bottom, right in merges if right > left for row in range(top, bottom + 1)}
    number = len(remaining) - 1
    while number in groups and len({_told(cell) for cell in remaining[number - 1]} - {""}) > 1:
        heads = [_joined(_told(cell), head) for cell, head in zip(remaining[number - 1], heads, strict=True)]
        number, used = number - 1, used + 1
    named = tuple(head or f"column {place + 1}" for place, head in enumerate(heads))
    return named, units, used


def _joined(group: str, head: str) -> str:
    return head if not group or group == head else f"{group} {head}".strip()


def _told(cell: Any) -> str:
    return "" if cell is None else str(cell).strip()


def _is_row_of_units(row: Row) -> bool:
    told = [_told(cell) for cell in row if _told(cell).strip("[]()-1")]
    return bool(told) and all(map(is_unit, told))


def _is_row_of_heads(row: Row, numeric: Sequence[int]) -> bool:
    texts = sum(isinstance(row[place], str) and bool(row[place].strip()) for place in numeric)
    return texts > 0 and texts >= len(numeric) / 2


def _are_days(cells: Sequence[Any]) -> bool:
    return all(isinstance(cell, int | float) and _FIRST_DAY <= cell <= _LAST_DAY for cell in cells)


def _text(cell: Any, is_day: bool) -> str:
    """Return a cell as text that the columns are told apart by: dates and clock times as ISO 8601 has them."""
    if is_day and is_value(cell):
        return (_EPOCH + timedelta(days=float(cell))).isoformat(sep=" ")
    if isinstance(cell, datetime):
        return cell.isoformat(sep=" ")
    if isinstance(cell, timedelta):
        return str(cell)
    return _told(cell)


def _metadata(rows: Sequence[Row]) -> dict[str, str]:
    pairs: dict[str, str] = {}
    for row in rows:
        told = list(dict.fromkeys(_told(cell) for cell in row if _told(cell)))
        if len(told) == 1 and ":" in told[0]:
            told = [part.strip() for part in told[0].split(":", 1)]
        if len(told) in (2, 3) and told[1]:
            pairs[told[0].rstrip(":")[:100]] = " ".join(told[1:])[:500]
    return pairs
