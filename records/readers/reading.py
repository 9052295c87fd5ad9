"""One file to one recording, or to a refusal in words."""

from __future__ import annotations

from collections.abc import Sequence
from os import PathLike
from pathlib import Path

import numpy as np

from records.readers.columns import ColumnMap, Resolution, resolve
from records.readers.dialect import Dialect, sniff
from records.readers.previewing import Preview, describe
from records.readers.recording import DEFAULT, Limits, Recording, Samples
from records.readers.refusals import (
    ColumnMissing,
    MappingNeeded,
    RecordTooLarge,
    TimeGoesBackwards,
    TimeStandsStill,
    TooFewRows,
)
from records.readers.source import Source, look_at, measure
from records.readers.table import Table

NEEDED = ("time_s", "voltage_kv")
_GAP = 5.0  # times the usual interval: what is reported as a gap
_WORDS = {"time_s": "time", "voltage_kv": "voltage", "charge_pc": "charge", "current_ma": "current"}


def preview(path: str | PathLike[str], *, columns: ColumnMap | None = None, limits: Limits = DEFAULT) -> Preview:
    """Return the first rows of a file as the reader understands them.

    Parameters
    ----------
    path : path-like
        File to look at; only its first 64 KiB are read.
    columns : ColumnMap, optional
        Which column is which, where a person said so.
    limits : Limits
        What reading may cost.

    Returns
    -------
    Preview
        Frozen; `Preview.unresolved` are the columns that nobody has named.

    Raises
    ------
    RecordRefused
        The file is empty, too large, no text, or holds no rows of numbers.
    """
    source = look_at(Path(path), limits)
    dialect = sniff(source.head_lines)
    return describe(source.encoding, dialect, resolve(dialect, columns))


def read_record(
    path: str | PathLike[str],
    *,
    columns: ColumnMap | None = None,
    limits: Limits = DEFAULT,
    needed: Sequence[str] = NEEDED,
) -> Recording:
    """Return the arrays of one file.

    Parameters
    ----------
    path : path-like
        CSV or other text in columns: comma, semicolon, tab, bar or blanks; decimal point or comma; UTF-8, UTF-16 or
        Latin-1; units in heads or in a row below them.
    columns : ColumnMap, optional
        Which column is which; it goes before the heads.
    limits : Limits
        Bytes and rows above which the file is refused. Processor time and memory bind in `read_in_child` only.
    needed : sequence of str
        Channels that must be found.

    Returns
    -------
    Recording
        Arrays (n,) in the channels' own units; time [s] as the file states it, clock times from the first row.

    Raises
    ------
    MappingNeeded
        A needed channel is not told by the heads, and some column is left that could be it.
    ColumnMissing
        A needed channel is not told and no column is left.
    RecordRefused
        Each other fault by its own class (`records.readers.refusals`), with the row where it has one.

    Notes
    -----
    Cells of numbers are never guessed at: text, nothing, NaN and infinity are refused with their row. Rows with equal
    times are kept and reported as odd. The number of rows read is checked against the number of line ends.
    """
    source = look_at(Path(path), limits)
    dialect = sniff(source.head_lines)
    resolution = resolve(dialect, columns)
    _require(source, dialect, resolution, needed)
    measured = measure(source)
    if measured.line_feeds > limits.max_rows:
        raise RecordTooLarge(
            f"The file has {measured.line_feeds} rows; the limit is {limits.max_rows}. Export a shorter part of it."
        )
    table = Table(source, dialect, resolution.resolved, measured)
    time_s = table.columns.pop("time_s")
    _check_time(time_s, table, limits)
    return Recording(
        time_s,
        table.columns,
        _metadata(dialect, table),
        tuple(_oddities(time_s, table, resolution)),
        measured.sha256,
    )


def _require(source: Source, dialect: Dialect, resolution: Resolution, needed: Sequence[str]) -> None:
    missing = [channel for channel in needed if not resolution.has(channel)]
    if not missing:
        return
    names = " and ".join(_WORDS.get(channel, channel) for channel in missing)
    heads = ", ".join(f"“{head}”" for head in dialect.heads)
    doubts = "".join(f" {doubt}" for doubt in resolution.doubts)
    if resolution.unresolved:
        raise MappingNeeded(
            f"The heads do not tell which column is the {names}: the file has {heads}.{doubts} Map the columns.",
            preview=describe(source.encoding, dialect, resolution),
            row=max(dialect.first_row, 1),
        )
    raise ColumnMissing(
        f"The file has no column for the {names}; it has {heads}. Export the record with that channel.",
        row=max(dialect.first_row, 1),
    )


def _check_time(time_s: Samples, table: Table, limits: Limits) -> None:
    if len(time_s) < limits.min_rows:
        raise TooFewRows(
            f"The file has {len(time_s)} rows of numbers; at least {limits.min_rows} are needed. "
            "Check that the whole record was exported."
        )
    steps = np.diff(time_s)
    if (steps < 0).any():
        index = int(np.argmax(steps < 0)) + 1
        row = table.row_of(index)
        raise TimeGoesBackwards(
            f"Row {row} is at {time_s[index]:.9g} s, earlier than the row before it at {time_s[index - 1]:.9g} s. "
            "The rows are out of order, or two records were put into one file: export each on its own.",
            row=row,
        )
    if time_s[-1] == time_s[0]:
        raise TimeStandsStill(
            f"All {len(time_s)} rows carry the time {time_s[0]:.9g} s. Export the record with finer time stamps."
        )


def _metadata(dialect: Dialect, table: Table) -> dict[str, str]:
    metadata = dict(dialect.metadata)
    if table.start is not None:
        metadata.setdefault("start", table.start)
    return metadata


def _oddities(time_s: Samples, table: Table, resolution: Resolution) -> list[str]:
    said = []
    heads = table.dialect.heads
    if resolution.unresolved:
        names = ", ".join(f"“{heads[index]}”" for index in resolution.unresolved)
        said.append(f"Columns not read, because their heads name no known quantity: {names}.")
    said.extend(resolution.doubts)
    if table.passed_midnight:
        said.append("The clock passed midnight; a day was added from there on.")
    if table.source.has_lone_returns:
        said.append("Lines end in carriage returns alone.")
    elif table.source.encoding.is_bytewise and not table.measure.tail.endswith(b"\n"):
        said.append("The last row has no line end; if the file was cut off, its last value may have lost digits.")
    steps = np.diff(time_s)
    equal = int((steps == 0).sum())
    if equal:
        said.append(f"{equal} rows carry the same time as the row before them.")
    usual = float(np.median(steps))
    if usual > 0 and steps.max() > _GAP * usual:
        where = int(np.argmax(steps))
        said.append(
            f"{int((steps > _GAP * usual).sum())} gaps in the samples; the longest is {steps[where]:.4g} s after "
            f"{time_s[where]:.6g} s, where the usual interval is {usual:.4g} s."
        )
    return said
