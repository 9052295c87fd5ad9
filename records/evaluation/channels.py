"""Reading a record so that a person is asked for a column only where no set of channels is whole."""

from __future__ import annotations

from collections.abc import Callable

from records.evaluation.kinds import KINDS
from records.evaluation.soundness import channels_of
from records.readers.recording import Recording
from records.readers.wanted import WANTED_BY_KIND, Wanted

_VOLTAGE = ("time_s", "voltage_kv")


def read_any_set(kind: str, read: Callable[[Wanted], Recording], *, is_one_of_several: bool = False) -> Recording:
    """Return a record that holds one whole set of channels of a kind of step.

    Parameters
    ----------
    kind : str
        Kind of step.
    read : callable
        What a record must hold to the recording; what it raises is passed on.
    is_one_of_several : bool
        Whether other records are given too: then one of the voltage alone is enough beside a list of pulses.

    Returns
    -------
    Recording
        With a whole set; where the file tells none by itself, it is read again for the first set, so that the reader
        asks for what is missing.
    """
    is_paired = is_one_of_several and kind == "partial_discharge"
    recording = read(Wanted.of(("time_s",)) if is_paired else WANTED_BY_KIND[kind])
    if channels_of(recording, KINDS[kind]) or (is_paired and set(_VOLTAGE[1:]) <= set(recording.channels)):
        return recording
    return read(Wanted.of(KINDS[kind].channels[0]))
