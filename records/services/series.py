"""The records of a run that count together, as each impulse of a sequence does."""

from __future__ import annotations

from dataclasses import dataclass

from records.models import Record
from records.readers.kept import read_arrays
from records.readers.recording import Recording
from records.services.storing import absolute


@dataclass(frozen=True)
class Series:
    """Recordings in the order in which they were uploaded, and the record that was uploaded last."""

    recordings: tuple[Recording, ...]
    newest: Record


def series_with(record: Record, recording: Recording) -> Series:
    """Return a recording among those of its run that were read before; call it inside a transaction.

    Nothing can be added to the run meanwhile, so that no record is overlooked when two are judged at once.
    """
    others = [
        row
        for row in record.run.records.filter(state=Record.State.READ).exclude(pk=record.pk)
        if row.summary.get("arrays")
    ]
    rows = sorted([*others, record], key=lambda row: row.pk)
    recordings = tuple(recording if row.pk == record.pk else _kept(row) for row in rows)
    return Series(recordings, rows[-1])


def _kept(record: Record) -> Recording:
    """Return what was read of a record, from its arrays and its summary."""
    summary = record.summary
    channels = read_arrays(absolute(summary["arrays"]), summary["channels"])
    return Recording(
        channels.pop("time_s"), channels, summary["metadata"], tuple(summary["oddities"]), sha256=record.sha256
    )
