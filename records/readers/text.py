"""Reader of text in columns: CSV and its dialects."""

from __future__ import annotations

import numpy as np

from records.readers.assembling import Columns, assemble, require
from records.readers.columns import Resolution, named, resolve
from records.readers.dialect import SEPARATORS, Dialect, sniff
from records.readers.order import Order
from records.readers.plausibility import Declared, declared_in, of_dates
from records.readers.previewing import Manner, Preview, describe
from records.readers.recording import Recording
from records.readers.refusals import MappingNeeded
from records.readers.source import Source, look_at
from records.readers.stamps import moment_of
from records.readers.table import Table


def preview(order: Order) -> Preview:
    """Return the first rows of a text file as they are understood; only its first 64 KiB are read."""
    source = look_at(order.path)
    dialect = sniff(source.head_lines)
    return _described(order, source, dialect, resolve(dialect, order.columns, order.wanted.channels))


def read(order: Order) -> Recording:
    """Return the arrays of a text file.

    Raises
    ------
    RecordRefused
        Each fault by its own class, with the row where it has one.

    """
    source = look_at(order.path)
    dialect = sniff(source.head_lines)
    resolution = resolve(dialect, order.columns, order.wanted.channels)
    shown = _described(order, source, dialect, resolution)
    declared = declared_in(dialect.metadata)
    rate_per_s = _counted_by(order, resolution, declared)
    known = ("time_s",) if rate_per_s else ()
    require(order, dialect, resolution, shown, row=max(dialect.first_row, 1), known=known)
    try:
        table = Table(source, dialect, resolution.resolved, order)
    except MappingNeeded as need:  # a clock that may be two things
        raise MappingNeeded(need.message, preview=shown, row=dialect.first_row + 1) from need
    metadata = dict(dialect.metadata) | table.labels
    if table.start is not None:
        metadata.setdefault("start", table.start)
    oddities, arrays = _oddities(table, resolution), table.columns
    if rate_per_s:
        rows = len(next(iter(arrays.values())))
        arrays = {"time_s": np.arange(rows) / rate_per_s, **arrays}
        oddities.append(f"The file holds no times; they were counted by its stated interval of {1 / rate_per_s:g} s.")
    columns = Columns(arrays, table.measure.sha256, metadata, tuple(oddities), table.row_of, declared)
    return assemble(order, columns, shown)


def _counted_by(order: Order, resolution: Resolution, declared: Declared) -> float | None:
    """Return the stated samples a second where a file has no column that could be the time, else None."""
    has_time = any(column.channel == "time_s" for column in resolution.resolved)
    is_asked = order.wanted.axis == "time_s" and not has_time and not resolution.unresolved
    return declared.rate_per_s if is_asked and order.columns is None else None


def _described(order: Order, source: Source, dialect: Dialect, resolution: Resolution) -> Preview:
    separator, line = SEPARATORS[dialect.separator], dialect.first_row + 1
    how = (
        f"Read as {source.encoding.name}, separated by {separator}, decimal mark {dialect.decimal}; numbers begin in "
        f"line {line}."
    )
    manner = Manner(how, source.encoding.name, separator, dialect.decimal, line)
    return describe(manner, dialect, resolution, order.wanted, dialect.metadata)


def _oddities(table: Table, resolution: Resolution) -> list[str]:
    said = []
    heads = table.dialect.heads
    if resolution.unresolved:
        names = named([heads[index] for index in resolution.unresolved])
        said.append(f"Columns not read, because their heads name no known quantity: {names}.")
    said.extend(resolution.doubts)
    said.extend(of_dates(moment_of(table.start or ""), None, 0.0))
    if table.passed_midnight:
        said.append("The clock passed midnight; a day was added from there on.")
    if table.source.has_lone_returns:
        said.append("Lines end in carriage returns alone.")
    elif table.source.encoding.is_bytewise and not table.measure.tail.endswith(b"\n"):
        said.append("The last row has no line end; if the file was cut off, its last value may have lost digits.")
    return said
