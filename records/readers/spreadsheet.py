"""Reader of spreadsheets (XLSX): the first sheet that holds what the step needs."""

from __future__ import annotations

import itertools
import warnings
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from typing import Any

import numpy as np
import openpyxl

from records.readers.archive import check_workbook
from records.readers.assembling import Columns, assemble, require
from records.readers.columns import Attempt, Resolution, Resolved, attempt, named
from records.readers.labels import coded
from records.readers.order import Order
from records.readers.plausibility import declared_in, of_dates
from records.readers.previewing import Manner, Preview, describe
from records.readers.recording import Recording, Samples
from records.readers.refusals import NoTable, NotANumber
from records.readers.sheets import LOOKED_AT, MOST_COLUMNS, Grid, grid_of, is_value, merged_ranges
from records.readers.source import measure

_DAY_S = 86_400.0
_MOST_SHEETS = 50


@dataclass(frozen=True)
class _Found:
    """The sheet that was chosen, its table, its columns, and what else was seen."""

    name: str
    grid: Grid
    tried: Attempt
    oddities: tuple[str, ...]

    @property
    def resolution(self) -> Resolution:
        """Which column is which."""
        return self.tried.resolution


def preview(order: Order) -> Preview:
    """Return the first rows of the sheet that was chosen."""
    checked = check_workbook(order.path, order.limits)
    with _opened(order) as book:
        return _shown(order, _found(book, order, checked.oddities))


def read(order: Order) -> Recording:
    """Return the arrays of a spreadsheet.

    Raises
    ------
    RecordRefused
        Each fault by its own class, with the row of the sheet where it has one.

    Notes
    -----
    Formulas are not computed: what the program that saved the file computed is read. Blank rows are passed over. Dates
    and clock times are exact to a millisecond.
    """
    checked = check_workbook(order.path, order.limits)
    with _opened(order) as book:
        found = _found(book, order, checked.oddities)
        shown = _shown(order, found)
        require(order, found.grid.layout, found.resolution, shown, row=max(found.grid.layout.first_row - 1, 1))
        rows, cells = _cells(_rows_of(book[found.name]), found, order)
    said = [*found.oddities]
    metadata = dict(found.grid.metadata) | {"sheet": found.name}
    arrays = {}
    for place, column in _used(found):
        if column.is_label:
            arrays[column.channel], names = coded([_label(cell) for cell in cells[place]])
            metadata |= names
        else:
            arrays[column.channel] = _array(cells[place], column, found.grid, rows, said)
    columns = Columns(
        arrays, measure(order.path).sha256, metadata, tuple(said), lambda index: rows[index], declared_in(metadata)
    )
    return assemble(order, columns, shown)


@contextmanager
def _opened(order: Order) -> Iterator[Any]:
    """Open the workbook as a stream: by its name the library would judge the ending, which stored files have not."""
    with order.path.open("rb") as stream:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # styles and extensions that do not matter for the values
            book = openpyxl.load_workbook(stream, read_only=True, data_only=True, keep_links=False)
        with closing(book):
            yield book


def _rows_of(sheet: Any) -> Iterator[tuple[Any, ...]]:
    """Yield rows of values; the size that the sheet claims for itself is not believed."""
    sheet.reset_dimensions()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        yield from sheet.iter_rows(values_only=True, max_col=MOST_COLUMNS)


def _found(book: Any, order: Order, oddities: tuple[str, ...]) -> _Found:
    """Return the first sheet that has what is needed, else the first that has a table at all."""
    tables: list[_Found] = []
    for sheet in book.worksheets[:_MOST_SHEETS]:
        top = list(itertools.islice(_rows_of(sheet), LOOKED_AT))
        try:
            grid = grid_of(top, _merges(book, sheet))
        except NoTable:
            continue
        tables.append(_Found(sheet.title, grid, attempt(grid.layout, order.columns, order.wanted.channels), oddities))
    if not tables:
        raise NoTable("No sheet of the workbook holds rows of numbers. Check that the right file was chosen.")
    fitting = [table for table in tables if table.tried.misfit is None]
    if not fitting:
        raise tables[0].tried.misfit or NoTable("No sheet fits.")
    complete = [
        table
        for table in fitting
        if order.wanted.is_met(
            [c.channel for c in table.resolution.resolved], is_all=order.is_all(table.resolution.unresolved)
        )
    ]
    chosen = complete[0] if complete else fitting[0]
    others = [table.name for table in tables if table is not chosen]
    said = (f"Other sheets hold numbers too and were not read: {named(others)}.",) if others else ()
    return _Found(chosen.name, chosen.grid, chosen.tried, (*oddities, *said))


def _merges(book: Any, sheet: Any) -> list[tuple[int, int, int, int]]:
    """Return the merged ranges; they stand at the end of the sheet, after its rows."""
    tail = b""
    with book._archive.open(sheet._worksheet_path) as stream:
        while chunk := stream.read(1 << 20):
            tail = (tail + chunk)[-(1 << 20) :]
    return merged_ranges(tail)


def _shown(order: Order, found: _Found) -> Preview:
    first = found.grid.layout.first_row
    how = f"Read as a spreadsheet, sheet “{found.name}”; numbers begin in row {first}."
    return describe(
        Manner(how, first_row=first), found.grid.layout, found.resolution, order.wanted, found.grid.metadata
    )


def _used(found: _Found) -> list[tuple[int, Resolved]]:
    return list(enumerate(found.resolution.resolved))


def _cells(sheet: Iterator[tuple[Any, ...]], found: _Found, order: Order) -> tuple[list[int], list[list[Any]]]:
    """Return the rows that hold something and, for each column that is used, their cells."""
    used = [column.index for column in found.resolution.resolved]
    width = found.grid.layout.columns
    rows: list[int] = []
    cells: list[list[Any]] = [[] for _ in used]
    first = found.grid.layout.first_row
    for number, row in enumerate(itertools.islice(sheet, first - 1, None), start=first):
        if not any(cell is not None and cell != "" for cell in row[:width]):
            continue
        rows.append(number)
        if len(rows) % 100_000 == 0:
            order.check_rows(len(rows))
        for kept, index in zip(cells, used, strict=True):
            kept.append(row[index] if index < len(row) else None)
    order.check_rows(len(rows))
    return rows, cells


def _array(cells: list[Any], column: Resolved, grid: Grid, rows: list[int], said: list[str]) -> Samples:
    head = grid.layout.heads[column.index]
    if column.is_stamp:
        return _seconds(cells, head, rows, said)
    for row, cell in zip(rows, cells, strict=True):
        if not isinstance(cell, int | float) or isinstance(cell, bool):
            raise _no_number(cell, head, row)
    values = np.array(cells, dtype=np.float64)
    if not np.isfinite(values).all():
        row = rows[int(np.argmin(np.isfinite(values)))]
        raise NotANumber(f"Row {row}: the column “{head}” holds no finite number. Correct or remove the row.", row=row)
    return values * column.factor + column.offset


def _label(cell: Any) -> str:
    return "" if cell is None else str(cell)


def _no_number(cell: Any, head: str, row: int) -> NotANumber:
    what = "nothing" if cell is None or cell == "" else f"the text “{str(cell)[:40]}”"
    what = f"the date {cell}" if is_value(cell) else what
    return NotANumber(
        f"Row {row}: the column “{head}” holds {what} where a number must be. Correct or remove the row.", row=row
    )


def _seconds(cells: list[Any], head: str, rows: list[int], said: list[str]) -> Samples:
    """Return seconds from the first of dates, clock times, durations or numbers of days."""
    kind = type(cells[0])
    seconds = np.empty(len(cells))
    for place, (row, cell) in enumerate(zip(rows, cells, strict=True)):
        if (
            isinstance(cell, bool)
            or not is_value(cell)
            or (type(cell) is not kind and not _are_numbers(cell, cells[0]))
        ):
            raise NotANumber(
                f"Row {row}: the column “{head}” holds “{str(cell)[:40]}”, which is no time like those before it. "
                "Correct or remove the row.",
                row=row,
            )
        seconds[place] = _second(cell, cells[0])
    if isinstance(cells[0], datetime):
        said.extend(of_dates(cells[0], None, 0.0))
    if _are_numbers(cells[0], cells[0]):
        said.append(f"The numbers in “{head}” were read as days.")
    if kind is time:
        midnights = np.concatenate(([0.0], np.cumsum(np.diff(seconds) < -_DAY_S / 2)))
        if midnights.any():
            said.append("The clock passed midnight; a day was added from there on.")
        seconds = seconds + midnights * _DAY_S
    return seconds - seconds[0]


def _are_numbers(cell: Any, first: Any) -> bool:
    return isinstance(cell, int | float) and isinstance(first, int | float)


def _second(cell: Any, first: Any) -> float:
    if isinstance(cell, datetime):
        return (cell - first).total_seconds()
    if isinstance(cell, time):
        return timedelta(
            hours=cell.hour, minutes=cell.minute, seconds=cell.second, microseconds=cell.microsecond
        ).total_seconds()
    if isinstance(cell, timedelta):
        return cell.total_seconds()
    return (float(cell) - float(first)) * _DAY_S
