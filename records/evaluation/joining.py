"""A record in several parts: joined where their times continue, refused where they do not."""

from __future__ import annotations

import hashlib
import itertools
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from records.evaluation.stages import longest_gap_s, usual_interval
from records.evaluation.wording import called, opening
from records.readers.labels import LABEL, names_of
from records.readers.recording import Recording

_MOST_PARTS = 24


class TooManyParts(ValueError):
    """A column of labels tells every row apart, so it does not name parts."""


class RecordsDoNotJoin(ValueError):
    """The files given are not parts of one record."""


@dataclass(frozen=True)
class PulseRecording(Recording):
    """A list of pulses together with the record of the voltage that was taken over the same time."""

    voltage: Recording = field(default_factory=lambda: Recording(np.zeros(0), {}))


def pair(recordings: Sequence[Recording]) -> Recording:
    """Return one recording for one performance of a discharge step.

    Parameters
    ----------
    recordings : sequence of Recording
        As for `join`; or lists of pulses (``charge_pc``) and records of the voltage alone, each in parts or whole.

    Returns
    -------
    Recording
        A `PulseRecording` where both are given.

    Raises
    ------
    RecordsDoNotJoin
        As for `join`.
    """
    with_charge = [part for part in recordings if "charge_pc" in part.channels]
    voltage = [part for part in recordings if "charge_pc" not in part.channels and "voltage_kv" in part.channels]
    if not with_charge or not voltage or len(with_charge) + len(voltage) < len(recordings):
        return join(recordings)
    pulses, applied = join(with_charge), join(voltage)
    return PulseRecording(
        pulses.time_s,
        pulses.channels,
        pulses.metadata,
        (*pulses.oddities, *applied.oddities),
        digest_of_parts([pulses, applied]),
        voltage=applied,
    )


def join(recordings: Sequence[Recording]) -> Recording:
    """Return one recording for one performance of a step.

    Parameters
    ----------
    recordings : sequence of Recording
        One, or the parts of one in any order.

    Returns
    -------
    Recording
        Parts in order of time; its digest is SHA-256 over the parts' digests in that order, in hexadecimal.

    Raises
    ------
    RecordsDoNotJoin
        None is given, the channels differ, or the times overlap or leave a gap (more than five usual intervals and
        more than 1 s). Records of several arrangements, as each phase in turn, are separate runs.
    """
    if not recordings:
        raise RecordsDoNotJoin("No record was given; name at least one file.")
    if len(recordings) == 1:
        return recordings[0]
    parts = sorted(recordings, key=lambda part: float(part.time_s[0]) if part.rows else 0.0)
    for before, after in itertools.pairwise(parts):
        _check_continues(before, after)
    names = list(parts[0].channels)
    return Recording(
        np.concatenate([part.time_s for part in parts]),
        {name: np.concatenate([part.channels[name] for part in parts]) for name in names},
        {key: value for part in reversed(parts) for key, value in part.metadata.items()},
        tuple(oddity for part in parts for oddity in part.oddities),
        digest_of_parts(parts),
    )


def parts_of(recording: Recording) -> tuple[Recording, ...]:
    """Return the parts that a recording's labels tell apart, as its phases, each with its own rows.

    Parameters
    ----------
    recording : Recording
        With the channel ``part`` where its rows are of several; a single part else.

    Returns
    -------
    tuple of Recording
        In the order in which the file names them; each tells its name in ``metadata["part"]``.

    Raises
    ------
    TooManyParts
        There are more than 24.
    """
    codes = recording.channel(LABEL)
    if codes is None:
        return (recording,)
    places = list(dict.fromkeys(codes.tolist()))
    if len(places) > _MOST_PARTS:
        raise TooManyParts(
            f"The column that names the part has {len(places)} different names; no unit has so many. Name it otherwise."
        )
    names = names_of(recording.metadata)
    return tuple(_part(recording, codes == place, _name(place, names)) for place in places)


def _name(place: float, names: Sequence[str]) -> str:
    return names[int(place)] if place.is_integer() and 0 <= place < len(names) else f"{place:g}"


def _part(recording: Recording, rows: NDArray[np.bool_], name: str) -> Recording:
    channels = {key: values[rows] for key, values in recording.channels.items() if key != LABEL}
    time_s = recording.time_s[rows] if len(recording.time_s) else recording.time_s
    own = f"“{name}” of {recording.name}" if recording.name else ""
    told = {**recording.metadata, LABEL: name}
    return Recording(time_s, channels, told, recording.oddities, recording.sha256, name=own)


def digest_of_parts(parts: Sequence[Recording]) -> str:
    """Return SHA-256 over the parts' digests in their order, in hexadecimal."""
    return hashlib.sha256("".join(part.sha256 for part in parts).encode()).hexdigest()


def _check_continues(before: Recording, after: Recording) -> None:
    if set(before.channels) != set(after.channels):
        raise RecordsDoNotJoin("The files have different channels, so they are not parts of one record.")
    if not before.rows or not after.rows:
        empty = after if before.rows else before
        raise RecordsDoNotJoin(f"{opening(called(empty, 'One of the files'))} has no samples.")
    step = float(after.time_s[0] - before.time_s[-1])
    if not 0 < step <= longest_gap_s(usual_interval(before.time_s)):
        raise RecordsDoNotJoin(
            f"{opening(called(before, 'One file'))} ends at {before.time_s[-1]:.6g} s and "
            f"{called(after, 'the next')} begins at {after.time_s[0]:.6g} s: they are not parts of one record. "
            "Evaluate each on its own."
        )
