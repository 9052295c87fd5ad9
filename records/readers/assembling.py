"""Columns that were read, whatever the format, to one recording: what is needed is there, and its axis makes sense."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from records.readers.columns import Resolution, named
from records.readers.layout import Layout
from records.readers.names import WORDS
from records.readers.order import Order
from records.readers.plausibility import Declared, Steps, of_sampling, of_waves, steps_of
from records.readers.previewing import Preview
from records.readers.recording import Recording, Samples
from records.readers.refusals import (
    ColumnMissing,
    FrequencyNotInOrder,
    MappingNeeded,
    TimeGoesBackwards,
    TimeStandsStill,
    TooFewRows,
)
from records.readers.wanted import WANTED_BY_KIND

_NO_TIME = np.empty(0)
_IMPULSE = WANTED_BY_KIND["lightning_impulse"]


@dataclass(frozen=True)
class Columns:
    """What a reader took from a file.

    Attributes
    ----------
    arrays : dict of str to ndarray (n,)
        Values by channel, finite, in the channels' own units.
    sha256 : str
        Digest of the bytes, hexadecimal.
    metadata : mapping of str to str
        What the file says about itself.
    oddities : tuple of str
        What was odd so far.
    row_of : callable or None
        Sample, from 0, to its row in the file as a person counts it.
    declared : Declared
        Frequency and rate that the file declares.
    """

    arrays: dict[str, Samples]
    sha256: str
    metadata: Mapping[str, str] = field(default_factory=dict)
    oddities: tuple[str, ...] = ()
    row_of: Callable[[int], int] | None = None
    declared: Declared = field(default_factory=Declared)


def require(
    order: Order,
    layout: Layout,
    resolution: Resolution,
    shown: Preview,
    row: int | None = None,
    known: Sequence[str] = (),
) -> None:
    """Refuse where a channel that the step needs was not found among the columns.

    Raises
    ------
    MappingNeeded
        It is missing, and a column is left that could be it.
    ColumnMissing
        It is missing, and no column is left.
    """
    found = [*known, *(column.channel for column in resolution.resolved)]
    missing = order.wanted.lacking(found, is_all=order.is_all(resolution.unresolved))
    if not missing:
        return
    names = " and the ".join(WORDS.get(channel, channel) for channel in missing)
    heads = named(layout.heads)
    about = [doubt for doubt in resolution.doubts if any(channel in doubt for channel in missing)]
    doubts = "".join(f" {doubt}" for doubt in (about or resolution.doubts)[:5])
    if resolution.unresolved:
        raise MappingNeeded(
            f"The heads do not tell which column is the {names}: the file has {heads}.{doubts} Map the columns.",
            preview=shown,
            row=row,
        )
    mend = "Export the record with that channel"
    if missing == ("time_s",):
        mend += ", or state the sampling interval in a line before the heads, as “Sampling interval: 0.1 s”"
    raise ColumnMissing(f"The file has no column for the {names}; it has {heads}. {mend}.", row=row)


def assemble(order: Order, columns: Columns, shown: Preview | None = None) -> Recording:
    """Return the recording of columns that were read.

    Parameters
    ----------
    order : Order
        What was asked for; its `Wanted.axis` decides what the rows run along.
    columns : Columns
        What was read.
    shown : Preview, optional
        First rows as understood.

    Returns
    -------
    Recording
        Along time with times that never fall; along frequency with an empty time axis and rising frequencies; else
        with the time axis only where there is one and it does not fall.

    Raises
    ------
    TooFewRows, TimeGoesBackwards, TimeStandsStill, FrequencyNotInOrder
        As their names say.
    """
    arrays, said = dict(columns.arrays), list(columns.oddities)
    rows = len(next(iter(arrays.values()), _NO_TIME))
    if rows < min(order.limits.min_rows, order.wanted.min_rows):
        raise TooFewRows(
            f"The file has {rows} rows of numbers; at least {order.wanted.min_rows} are needed. "
            "Check that the whole record was exported."
        )
    time_s = arrays.pop("time_s", _NO_TIME)
    if order.wanted.axis == "time_s":
        steps = _checked_steps(time_s, columns.row_of)
        if not _lists_pulses(arrays):  # pulses come when they come: no gap between them is odd
            said.extend(of_sampling(time_s, steps, columns.declared))
            said.extend(of_waves(time_s, arrays, columns.declared, order.wanted == _IMPULSE))
    elif order.wanted.axis == "frequency_hz":
        time_s = _NO_TIME
        arrays, words = _along_frequency(arrays, columns.row_of)
        said.extend(words)
    elif len(time_s) and (np.diff(time_s) < 0).any():
        said.append("The times are not in order; the rows were taken as a table without time.")
        time_s = _NO_TIME
    return Recording(time_s, arrays, columns.metadata, tuple(dict.fromkeys(said)), columns.sha256, shown)


def _lists_pulses(arrays: Mapping[str, Samples]) -> bool:
    return "charge_pc" in arrays and ("phase_deg" in arrays or "gated" in arrays)


def _checked_steps(time_s: Samples, row_of: Callable[[int], int] | None) -> Steps:
    steps = steps_of(time_s)
    if steps.falls_at:
        index = steps.falls_at
        row = row_of(index) if row_of else index + 1
        raise TimeGoesBackwards(
            f"{'Row' if row_of else 'Sample'} {row} is at {time_s[index]:.9g} s, earlier than the "
            f"{'row' if row_of else 'sample'} before it at {time_s[index - 1]:.9g} s. "
            "The rows are out of order, or two records were put into one file: export each on its own.",
            row=row,
        )
    if len(time_s) > 1 and time_s[-1] == time_s[0]:
        raise TimeStandsStill(
            f"All {len(time_s)} rows carry the time {time_s[0]:.9g} s. Export the record with finer time stamps."
        )
    return steps


def _along_frequency(
    arrays: dict[str, Samples], row_of: Callable[[int], int] | None
) -> tuple[dict[str, Samples], list[str]]:
    """Return the arrays in order of rising frequency, and what was odd about their order."""
    said: list[str] = []
    steps = np.diff(arrays["frequency_hz"])
    if len(steps) and (steps < 0).all():
        arrays = {name: values[::-1].copy() for name, values in arrays.items()}
        said.append("The sweep runs from high to low frequency; it was turned round.")
    frequency = arrays["frequency_hz"]
    steps = np.diff(frequency)
    if (steps <= 0).any():
        index = int(np.argmax(steps <= 0)) + 1
        row = row_of(index) if row_of else index + 1
        raise FrequencyNotInOrder(
            f"{'Row' if row_of else 'Point'} {row} is at {frequency[index]:.9g} Hz and the one before it at "
            f"{frequency[index - 1]:.9g} Hz: a sweep must rise. If two sweeps were put into one file, export each on "
            "its own.",
            row=row,
        )
    if len(frequency) and frequency[0] < 0:
        raise FrequencyNotInOrder(
            f"The sweep begins at {frequency[0]:.9g} Hz; frequencies must be greater than 0. Export it without that "
            "point."
        )
    if len(frequency) > 1 and frequency[0] == 0:
        said.append("The point at 0 Hz was left out.")
        arrays = {name: values[1:] for name, values in arrays.items()}
    return arrays, said
