"""Columns of numbers out of a text table: fast where all is well, exact about the row where it is not."""

from __future__ import annotations

from collections.abc import Callable
from typing import NoReturn

import numpy as np
import polars as pl

from records.readers.columns import Resolved
from records.readers.dialect import Dialect, is_number, split_cells
from records.readers.order import Order
from records.readers.recording import Samples
from records.readers.refusals import ColumnsDiffer, NotANumber, RecordTruncated
from records.readers.source import Measure, Source, is_straight, numbered_rows, table_bytes, text_bytes
from records.readers.stamps import is_stamp, seconds_from_first

_FETCH = "Fetch the record from the instrument again."


class Table:
    """Rows of one file as columns by channel.

    Attributes
    ----------
    columns : dict of str to ndarray (n,)
        Values in the channels' own units.
    start : str or None
        First time stamp as it stands in the file.
    passed_midnight : bool
        Whether a clock without date passed midnight.
    """

    def __init__(
        self,
        source: Source,
        dialect: Dialect,
        resolved: tuple[Resolved, ...],
        measure: Callable[[], Measure],
        order: Order,
    ) -> None:
        self.source, self.dialect, self.resolved, self._measure, self.order = source, dialect, resolved, measure, order
        self.start: str | None = None
        self.passed_midnight = False
        self._content: bytes | None = None
        self.columns = self._convert(self._frame())

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

    def _read(self, place: str | bytes, *, skip: int, separator: str) -> pl.DataFrame:
        dialect = self.dialect
        numbers = {column.index for column in self.resolved if not column.is_stamp}
        width = dialect.columns + dialect.has_trailing_separator
        names = [f"column_{index + 1}" for index in range(width)]
        return pl.read_csv(
            place,
            has_header=False,
            skip_lines=skip,
            separator=separator,
            decimal_comma=dialect.decimal == ",",
            schema={name: pl.Float64 if i in numbers else pl.String for i, name in enumerate(names)},
            columns=[names[column.index] for column in self.resolved],
            encoding="utf8-lossy" if self.source.encoding.name == "latin-1" else "utf8",
            glob=False,
        )

    def _is_sound(self, frame: pl.DataFrame, expected: int) -> bool:
        return frame.height == expected and sum(frame.null_count().row(0)) == 0

    def _measured(self) -> Measure:
        """Return what the pass over the bytes told; too many rows are refused before they are copied."""
        measured = self._measure()
        self.order.check_rows(measured.line_feeds)
        return measured

    def _frame(self) -> pl.DataFrame:
        """Return the columns: from the file as it stands, else from a cleaned copy, else refuse with the row."""
        dialect = self.dialect
        if is_straight(self.source, dialect):
            try:
                frame = self._read(str(self.source.path), skip=dialect.first_row, separator=dialect.separator)
                measured = self._measured()
                ends = measured.tail.endswith(b"\n")
                if self._is_sound(frame, measured.line_feeds - dialect.first_row + (not ends)):
                    return frame
            except pl.exceptions.PolarsError:
                self._measured()  # the cleaned copy decides, and names the row
        self._measured()
        rows = table_bytes(self.content, dialect)
        try:
            frame = self._read(rows, skip=0, separator="\t" if dialect.separator == " " else dialect.separator)
        except pl.exceptions.PolarsError:
            self._refuse()
        if not self._is_sound(frame, rows.count(b"\n") + 1):
            self._refuse()
        return frame

    def _convert(self, frame: pl.DataFrame) -> dict[str, Samples]:
        columns = {}
        for column in self.resolved:
            series = frame.get_column(f"column_{column.index + 1}")
            if column.is_stamp:
                cells = series.to_list()
                self.start = cells[0]
                values, self.passed_midnight = seconds_from_first(cells, first_line=self.dialect.first_row + 1)
            else:
                values = series.to_numpy()
                if not np.isfinite(values).all():
                    self._refuse()
                values = values if column.factor == 1.0 else values * column.factor
                values = values if column.offset == 0.0 else values + column.offset
            columns[column.channel] = values
        return columns

    def _refuse(self) -> NoReturn:
        """Raise the refusal that names the first faulty row."""
        rows = list(numbered_rows(self.content, self.dialect))
        ends = self.content.endswith(b"\n")
        for place, (line, text) in enumerate(rows):
            is_last = place == len(rows) - 1
            cells = split_cells(text, self.dialect.separator)
            if len(cells) == self.dialect.columns + 1 and cells[-1] == "":
                cells = cells[:-1]
            self._check_count(line, cells, is_last)
            self._check_cells(line, cells, is_last and not ends)
        raise ColumnsDiffer(
            "The rows could not be told apart; a quotation mark may be open. Export the record without quotation marks."
        )

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
            if is_stamp(cell) if column.is_stamp else is_number(cell, self.dialect.decimal):
                if cell.lstrip("+-").casefold() not in ("nan", "inf", "infinity"):
                    continue
                raise NotANumber(
                    f"Row {line}: the column “{head}” holds {cell}, which is no measured value. "
                    "Remove the row, or export the record again.",
                    row=line,
                )
            if may_be_cut and column.index == len(cells) - 1:
                raise RecordTruncated(f"Row {line} is the last one and stops at “{cell[:40]}”. {_FETCH}", row=line)
            what = f"the text “{cell[:40]}”" if cell else "nothing"
            raise NotANumber(
                f"Row {line}: the column “{head}” holds {what} where a number must be. Correct or remove the row.",
                row=line,
            )
