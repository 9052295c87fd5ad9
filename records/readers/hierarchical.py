"""Reader of HDF5 files: columns of equal length in one group, or in the whole file."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace

import h5py
import numpy as np

from records.readers.assembling import Columns, assemble, require
from records.readers.columns import Attempt, Resolution, Resolved, attempt, named
from records.readers.converting import samples_of
from records.readers.hierarchy import Contents, Series, contents_of
from records.readers.layout import NamedColumns
from records.readers.order import Order
from records.readers.plausibility import declared_in
from records.readers.previewing import Manner, Preview, describe
from records.readers.recording import Recording, Samples
from records.readers.refusals import NoTable, RecordDamaged
from records.readers.source import measure

_SHOWN = 8
_TIME = "time_s"


@dataclass(frozen=True)
class _Table:
    """Columns of one length that belong together, and which of them are which."""

    series: tuple[Series, ...]
    layout: NamedColumns
    tried: Attempt

    @property
    def resolution(self) -> Resolution:
        """Which column is which."""
        return self.tried.resolution


def preview(order: Order) -> Preview:
    """Return the first rows as they are understood."""
    with _opened(order) as file:
        found = contents_of(file, order.limits)
        return _shown(_chosen(found, order), found, order)


def read(order: Order) -> Recording:
    """Return the arrays of a file.

    Raises
    ------
    RecordRefused
        Each fault by its own class; `RecordUnsafe` where the file reaches for others or grows beyond the limits.

    Notes
    -----
    Where no column is the time and the data state an interval or a sampling rate as an attribute, the times follow from
    it.
    """
    with _opened(order) as file:
        found = contents_of(file, order.limits)
        table = _chosen(found, order)
        shown = _shown(table, found, order)
        require(order, table.layout, table.resolution, shown)
        order.check_rows(table.series[0].rows)
        said = list(found.said)
        if table.resolution.unresolved:
            heads = named([table.layout.heads[index] for index in table.resolution.unresolved])
            said.append(f"Columns not read, because their names are of no known quantity: {heads}.")
        arrays = {column.channel: _samples(table, column, said) for column in table.resolution.resolved}
    declared = declared_in(found.metadata)
    columns = Columns(arrays, measure(order.path).sha256, found.metadata, tuple(said), declared=declared)
    return assemble(order, columns, shown)


@contextmanager
def _opened(order: Order) -> Iterator[h5py.File]:
    try:
        with h5py.File(order.path, "r", locking=False) as file:
            yield file
    except OSError as fault:
        raise RecordDamaged(
            f"The file begins as HDF5 but is damaged ({' '.join(str(fault).split())[:100]}). "
            "Fetch it from the instrument again."
        ) from fault


def _samples(table: _Table, column: Resolved, said: list[str]) -> Samples:
    series = table.series[column.index]
    return samples_of(series.take(None), replace(column, is_stamp=False), series.head, said)


def _chosen(found: Contents, order: Order) -> _Table:
    """Return the first set of columns of one length that has what is needed, else the largest."""
    groups: dict[tuple[str, int], list[Series]] = {}
    for series in found.series:
        groups.setdefault((series.folder, series.rows), []).append(series)
    for series in found.series:
        groups.setdefault(("*", series.rows), []).append(series)
    tables = [_table(columns, order) for columns in list(groups.values())[:200]]
    if not tables:
        raise NoTable("The file holds no columns of numbers. Check that the right file was chosen.")
    fitting = [table for table in tables if table.tried.misfit is None]
    if not fitting:
        raise max(tables, key=lambda table: len(table.series)).tried.misfit or NoTable("No columns fit.")
    complete = [
        table
        for table in fitting
        if order.wanted.is_met(
            [c.channel for c in table.resolution.resolved], is_all=order.is_all(table.resolution.unresolved)
        )
    ]
    return complete[0] if complete else max(fitting, key=lambda table: len(table.series))


def _table(columns: list[Series], order: Order) -> _Table:
    interval = next((series.interval_s for series in columns if series.interval_s), None)
    table = _resolved(columns, order)
    if interval and _TIME in order.wanted.channels and not table.resolution.has(_TIME):
        rows = columns[0].rows
        clock = Series(
            _TIME, "s", rows, "", None, lambda most: np.arange(rows if most is None else min(most, rows)) * interval
        )
        table = _resolved([clock, *columns], order)
    return table


def _resolved(columns: list[Series], order: Order) -> _Table:
    names = [series.head for series in columns]
    heads = tuple(
        series.head if names.count(series.head) == 1 else f"{series.folder}/{series.head}" for series in columns
    )
    shown = [series.take(_SHOWN) for series in columns]
    rows = min((len(values) for values in shown), default=0)
    samples = tuple(tuple(f"{values[row]:.9g}" for values in shown) for row in range(rows))
    layout = NamedColumns(heads, tuple(series.unit for series in columns), samples)
    return _Table(tuple(columns), layout, attempt(layout, order.columns, order.wanted.channels))


def _shown(table: _Table, found: Contents, order: Order) -> Preview:
    rows = table.series[0].rows
    how = f"Read as an HDF5 file, {len(table.series)} columns of {rows} values."
    return describe(Manner(how), table.layout, table.resolution, order.wanted, found.metadata)
