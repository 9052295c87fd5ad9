"""Columns of numbers out of a text table: fast where all is well, exact about the row where it is not."""

from __future__ import annotations

import math
from functools import partial
from typing import NoReturn

import numpy as np
import polars as pl

from records.readers.blocks import Block, Pass, columns_of
from records.readers.columns import Resolved
from records.readers.dialect import Dialect, is_number, split_cells
from records.readers.labels import coded
from records.readers.order import Order
from records.readers.recording import Samples
from records.readers.refusals import ColumnsDiffer, NotANumber, RecordTruncated
from records.readers.source import Measure, Source, is_straight, measure, numbered_rows, table_bytes, text_bytes
from records.readers.stamps import is_stamp, seconds_from_first

_FETCH = "Fetch the record from the instrument again."


def _scaled(values: Samples, column: Resolved) -> Samples:
    """Return values in the channel's own unit; those that are in it already are not copied."""
    values = values if column.factor == 1.0 else values * column.factor
    return values if column.offset == 0.0 else values + column.offset


class Table:
    """Rows of one file as columns by channel.

    Attributes
    ----------
    columns : dict of str to ndarray (n,)
        Values in the channels' own units.
    start : str or None
        First time stamp as it stands in the file.
    measure : Measure
        Digest, line feeds and last bytes of the file.
    passed_midnight : bool
        Whether a clock without date passed midnight.
    labels : dict of str to str
        Names of the parts that rows are of, as metadata; empty where no column names any.
    """

    def __init__(self, source: Source, dialect: Dialect, resolved: tuple[Resolved, ...], order: Order) -> None:
        self.source, self.dialect, self.resolved, self.order = source, dialect, resolved, order
        self.start: str | None = None
        self.passed_midnight = False
        self.labels: dict[str, str] = {}
        self._content: bytes | None = None
        self.columns, self.measure = self._in_blocks() or self._as_a_whole()

    @property
    def content(self) -> bytes:
        """Whole file as bytes, read when first needed."""
        if self._content is None:
            self._content = text_bytes(self.source)
        return self._content

    def row_of(self, index: int) -> int:
        """Return the line in the file, counted from 1, of one sample."""
        for place, (line, _) in enumerate(numbered_rows(self.content, self.dialect)):
            if place == index:
                return line
        return self.dialect.first_row + index + 1

    def _in_blocks(self) -> tuple[dict[str, Samples], Measure] | None:
        """Return columns and measure of numbers that stand in the file as a column reader wants them, else None.

        A faulty row is named here where it can be; what is only unusual is left to the cleaned copy.
        """
        dialect = self.dialect
        if not is_straight(self.source, dialect) or any(column.is_stamp or column.is_label for column in self.resolved):
            return None
        seen = Pass(self.order)
        read = partial(self._read, separator=dialect.separator)
        columns = columns_of(self.source.path, dialect.first_row, len(self.resolved), read, self._scale, seen)
        if columns is None:
            if seen.faulty is not None:
                self._explain(seen.faulty)
            return None
        return {one.channel: values for one, values in zip(self.resolved, columns, strict=True)}, seen.measure()

    def _scale(self, place: int, values: Samples) -> Samples:
        return _scaled(values, self.resolved[place])

    def _as_a_whole(self) -> tuple[dict[str, Samples], Measure]:
        """Return columns and measure by way of a cleaned copy in memory, or refuse with the row."""
        measured = measure(self.source.path)
        self.order.check_rows(measured.line_feeds)
        return self._convert(self._frame()), measured

    def _read(self, rows: bytes, separator: str) -> pl.DataFrame:
        frame = self._parsed(rows, separator, pl.Float64)
        if self.dialect.decimal == "," and b"." in rows and self._holds_points(rows, separator):
            raise pl.exceptions.ComputeError("A point in a number, where commas are the decimal mark.")
        return frame

    def _holds_points(self, rows: bytes, separator: str) -> bool:
        """Return whether a number holds a point, as 1.000 for a thousand, which polars would read as 1."""
        numbers = [f"column_{column.index + 1}" for column in self.resolved if not column.is_stamp]
        cells = self._parsed(rows, separator, pl.String).select(pl.col(numbers).str.contains(".", literal=True).any())
        return any(cells.row(0))

    def _parsed(self, rows: bytes, separator: str, numeric: type[pl.DataType]) -> pl.DataFrame:
        dialect = self.dialect
        numbers = {column.index for column in self.resolved if not (column.is_stamp or column.is_label)}
        width = dialect.columns + dialect.has_trailing_separator
        names = [f"column_{index + 1}" for index in range(width)]
        frame = pl.read_csv(
            rows,
            has_header=False,
            separator=separator,
            decimal_comma=dialect.decimal == ",",
            schema={name: numeric if i in numbers else pl.String for i, name in enumerate(names)},
            columns=[names[column.index] for column in self.resolved],
            encoding="utf8-lossy" if self.source.encoding.name == "latin-1" else "utf8",
        )
        return frame.select([names[column.index] for column in self.resolved])

    def _frame(self) -> pl.DataFrame:
        rows = table_bytes(self.content, self.dialect)
        try:
            frame = self._read(rows, "\t" if self.dialect.separator == " " else self.dialect.separator)
        except pl.exceptions.PolarsError:
            self._refuse()
        if frame.height != rows.count(b"\n") + 1 or sum(frame.null_count().row(0)):
            self._refuse()
        return frame

    def _convert(self, frame: pl.DataFrame) -> dict[str, Samples]:
        columns = {}
        for column in self.resolved:
            series = frame.get_column(f"column_{column.index + 1}")
            if column.is_stamp:
                cells = series.to_list()
                self.start = cells[0]
                first = self.dialect.first_row + 1
                values, self.passed_midnight = seconds_from_first(cells, first_line=first, clock=column.clock)
            elif column.is_label:
                values, self.labels = coded(series.to_list())
            else:
                values = series.to_numpy()
                if not np.isfinite(values).all():
                    self._refuse()
                values = _scaled(values, column)
            columns[column.channel] = values
        return columns

    def _explain(self, block: Block) -> None:
        """Refuse by the first faulty row of a block; its last row may be the file's and is left to the whole."""
        lines = block.content.decode("utf-8", errors="replace").split("\n")
        told = [(line, text.strip("\r\x1a")) for line, text in enumerate(lines, start=block.first_line) if text.strip()]
        for line, text in told[:-1]:
            self._check_row(line, text, is_last=False, may_be_cut=False)

    def _refuse(self) -> NoReturn:
        """Raise the refusal that names the first faulty row."""
        rows = list(numbered_rows(self.content, self.dialect))
        ends = self.content.endswith(b"\n")
        for place, (line, text) in enumerate(rows):
            is_last = place == len(rows) - 1
            self._check_row(line, text, is_last=is_last, may_be_cut=is_last and not ends)
        raise ColumnsDiffer(
            "The rows could not be told apart; a quotation mark may be open. Export the record without quotation marks."
        )

    def _check_row(self, line: int, text: str, *, is_last: bool, may_be_cut: bool) -> None:
        cells = split_cells(text, self.dialect.separator)
        if len(cells) == self.dialect.columns + 1 and cells[-1] == "":
            cells = cells[:-1]
        self._check_count(line, cells, is_last)
        self._check_cells(line, cells, may_be_cut)

    def _check_count(self, line: int, cells: list[str], is_last: bool) -> None:
        wanted = self.dialect.columns
        if len(cells) == wanted:
            return
        text_cells = [c for c in cells if c and not is_number(c, self.dialect.decimal) and not is_stamp(c)]
        if is_last and len(cells) < wanted and len(text_cells) <= len(cells) - 1:
            raise RecordTruncated(
                f"Row {line} is the last one and has {len(cells)} of {wanted} columns: the file is cut off. {_FETCH}",
                row=line,
            )
        raise ColumnsDiffer(
            f"Row {line} has {len(cells)} columns; the rows before it have {wanted}. "
            "Correct the row, or export the record again.",
            row=line,
        )

    def _check_cells(self, line: int, cells: list[str], may_be_cut: bool) -> None:
        for column in self.resolved:
            cell, head = cells[column.index], self.dialect.heads[column.index]
            if column.is_label and cell:
                continue
            if is_stamp(cell) if column.is_stamp else is_number(cell, self.dialect.decimal):
                if column.is_stamp or math.isfinite(float(cell.replace(",", "."))):
                    continue
                raise NotANumber(
                    f"Row {line}: the column “{head}” holds {cell}, which is no measured value. "
                    "Remove the row, or export the record again.",
                    row=line,
                )
            if may_be_cut and column.index == len(cells) - 1:
                raise RecordTruncated(f"Row {line} is the last one and stops at “{cell[:40]}”. {_FETCH}", row=line)
            if self.dialect.decimal == "," and is_number(cell, "."):
                raise NotANumber(
                    f"Row {line}: the column “{head}” holds “{cell[:40]}”, with a point where the file has decimal "
                    "commas: a thousand or a fraction. Export the record without thousands separators.",
                    row=line,
                )
            what = f"the text “{cell[:40]}”" if cell else "nothing"
            raise NotANumber(
                f"Row {line}: the column “{head}” holds {what} where a number must be. Correct or remove the row.",
                row=line,
            )
