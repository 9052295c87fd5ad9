"""Reader of Parquet files."""

from __future__ import annotations

import numpy as np
import polars as pl

from records.readers.assembling import Columns, assemble, require
from records.readers.columns import Resolution, Resolved, named, resolve
from records.readers.converting import samples_of
from records.readers.labels import coded
from records.readers.layout import NamedColumns
from records.readers.order import Order
from records.readers.previewing import Manner, Preview, describe
from records.readers.recording import Recording, Samples
from records.readers.refusals import NotANumber, RecordEmpty
from records.readers.source import measure
from records.readers.stamps import seconds_from_first

_SHOWN = 8
_MOST_COLUMNS = 1000
_TICKS_S = {"ns": 1e-9, "us": 1e-6, "ms": 1e-3}


def preview(order: Order) -> Preview:
    """Return the first rows as they are understood."""
    layout, resolution = _looked_at(order)
    return _shown(order, layout, resolution)


def read(order: Order) -> Recording:
    """Return the arrays of a file.

    Raises
    ------
    RecordRefused
        Each fault by its own class; rows are counted from 1.
    """
    layout, resolution = _looked_at(order)
    shown = _shown(order, layout, resolution)
    require(order, layout, resolution, shown)
    names = list(pl.read_parquet_schema(order.path))
    used = [names[column.index] for column in resolution.resolved]
    frame = pl.read_parquet(order.path, columns=used, glob=False, hive_partitioning=False)
    said: list[str] = []
    if resolution.unresolved:
        heads = named([layout.heads[index] for index in resolution.unresolved])
        said.append(f"Columns not read, because their names are of no known quantity: {heads}.")
    metadata: dict[str, str] = {}
    arrays = {}
    for column in resolution.resolved:
        series = frame.get_column(names[column.index])
        if column.is_label and series.dtype == pl.String:
            arrays[column.channel], metadata = coded([cell or "" for cell in series.to_list()])
        else:
            arrays[column.channel] = _samples(series, column, said)
    columns = Columns(arrays, measure(order.path).sha256, metadata, tuple(said))
    return assemble(order, columns, shown)


def _looked_at(order: Order) -> tuple[NamedColumns, Resolution]:
    schema = pl.read_parquet_schema(order.path)
    rows = pl.scan_parquet(order.path, glob=False, hive_partitioning=False).select(pl.len()).collect().item()
    order.check_rows(rows)
    if not schema or not rows:
        raise RecordEmpty("The file has no rows. Check the export and upload the record again.")
    order.check_rows(max(0, len(schema) - _MOST_COLUMNS) * order.limits.max_rows)
    first = pl.read_parquet(order.path, n_rows=_SHOWN, glob=False, hive_partitioning=False)
    samples = tuple(tuple(_text(cell) for cell in row) for row in first.rows())
    units = tuple("s" if isinstance(kind, pl.Duration) else "" for kind in schema.values())
    layout = NamedColumns(tuple(schema), units, samples)
    return layout, resolve(layout, order.columns, order.wanted.channels)


def _text(cell: object) -> str:
    if isinstance(cell, float):
        return f"{cell:.9g}"
    return "" if cell is None else str(cell)[:60]


def _shown(order: Order, layout: NamedColumns, resolution: Resolution) -> Preview:
    how = f"Read as a Parquet file of {len(layout.heads)} columns."
    return describe(Manner(how), layout, resolution, order.wanted, {})


def _samples(series: pl.Series, column: Resolved, said: list[str]) -> Samples:
    """Return the values of one column; dates and durations become seconds."""
    if series.null_count():
        row = int(series.is_null().arg_max() or 0) + 1
        raise NotANumber(
            f"Row {row}: “{series.name}” holds nothing where a value must be. Remove the row, or export again.", row=row
        )
    kind = series.dtype
    if isinstance(kind, pl.Duration):
        return _ticks(series.to_physical()) * _TICKS_S[kind.time_unit]
    if isinstance(kind, pl.Datetime):
        ticks = series.to_physical()
        return _ticks(ticks - ticks[0]) * _TICKS_S[kind.time_unit]
    if kind == pl.Time:
        ticks = series.to_physical()
        return _ticks(ticks - ticks[0]) * 1e-9
    if kind == pl.String and column.is_stamp:
        return seconds_from_first(series.to_list(), first_line=1, clock=column.clock)[0]
    if not (kind.is_numeric() or kind == pl.Boolean):
        raise NotANumber(
            f"Row 1: “{series.name}” holds {kind} where numbers must be, such as “{str(series[0])[:40]}”.", row=1
        )
    numbers = series.cast(pl.Float64) if isinstance(kind, pl.Decimal) else series
    return samples_of(numbers.to_numpy(), column, series.name, said)


def _ticks(series: pl.Series) -> Samples:
    return series.to_numpy().astype(np.float64)
