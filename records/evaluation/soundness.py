"""Whether arrays can be evaluated at all: odd ones get a reason, never an exception."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from records.readers.recording import Recording

_LEAST_ROWS = 3


def unsound(recording: Recording, needed: Sequence[str]) -> str:
    """Return why a recording cannot be evaluated, in a sentence; empty where it can.

    Parameters
    ----------
    recording : Recording
        Any arrays whatever.
    needed : sequence of str
        Channels that the kind of step needs, ``time_s`` among them.

    Returns
    -------
    str
        A reason, or nothing.
    """
    arrays = {"time_s": recording.time_s, **recording.channels}
    for name in needed:
        if name not in arrays:
            return f"The record has no {name}."
    if any(np.ndim(arrays[name]) != 1 or len(arrays[name]) != recording.rows for name in needed):
        return "The record's columns are not of one length."
    if recording.rows < _LEAST_ROWS:
        return f"The record has {recording.rows} samples; at least {_LEAST_ROWS} are needed."
    for name in needed:
        faulty = np.flatnonzero(~np.isfinite(arrays[name]))
        if len(faulty):
            return f"Sample {faulty[0] + 1} of {name} is not a finite number."
    steps = np.diff(recording.time_s)
    if (steps < 0).any():
        return f"Time goes backwards at sample {int(np.argmax(steps < 0)) + 2}."
    if not (steps > 0).any():
        return "All samples carry the same time."
    voltage = arrays["voltage_kv"]
    if float(voltage.min()) < -0.2 * float(np.abs(voltage).max()):
        return "The voltage changes sign: it is a wave, not the r.m.s. trend that this kind of test is judged on."
    return ""
