"""Whether arrays can be evaluated at all: odd ones get a reason, never an exception."""

from __future__ import annotations

import numpy as np

from records.evaluation.kinds import Kind
from records.evaluation.wording import channel_words, listed
from records.readers.plausibility import steps_of
from records.readers.recording import Recording, Samples

_PART = 1 << 16  # values that are still at hand when they are looked at a second time
_AXIS_WORDS = {"time_s": "Time", "frequency_hz": "Frequency"}
LARGEST, SMALLEST = 1e15, 1e-15  # in the units of the channels' names; arithmetic runs out of range far beyond them


def channels_of(recording: Recording, kind: Kind) -> tuple[str, ...]:
    """Return the first of a kind's sets of channels that a recording has whole; empty where it has none."""
    names = _arrays(recording)
    return next((wanted for wanted in kind.channels if all(name in names for name in wanted)), ())


def unsound(recording: Recording, kind: Kind) -> str:
    """Return why a recording cannot be evaluated, in a sentence; empty where it can.

    Parameters
    ----------
    recording : Recording
        Any arrays whatever.
    kind : Kind
        With the sets of channels, of which one must be whole, and what its axis must keep.

    Returns
    -------
    str
        A reason, or nothing.
    """
    arrays, needed = _arrays(recording), channels_of(recording, kind)
    if not needed:
        return _missing(arrays, kind)
    needed = (*needed, *(name for name in kind.optional if name in arrays and name not in needed))
    if any(np.ndim(arrays[name]) != 1 or len(arrays[name]) != recording.rows for name in needed):
        return "The record's columns are not of one length."
    if recording.rows < kind.least_rows:
        samples = "sample" if recording.rows == 1 else "samples"
        needs = "is" if kind.least_rows == 1 else "are"
        return f"The record has {recording.rows} {samples}; at least {kind.least_rows} {needs} needed."
    for name in needed:
        reason = _unsound_numbers(name, arrays[name])
        if reason:
            return reason
    reason = _unsound_axis(arrays[kind.axis], kind) if kind.axis else ""
    return reason or next(filter(None, (standing_still(name, arrays[name]) for name in kind.must_move)), "")


def _unsound_numbers(name: str, values: Samples) -> str:
    greatest = _greatest_magnitude(values)
    if not np.isfinite(greatest):
        faulty = np.flatnonzero(~np.isfinite(values))
        return f"Sample {faulty[0] + 1} of the {channel_words(name)} is not a finite number."
    if greatest > LARGEST or 0 < greatest < SMALLEST:
        return f"The {channel_words(name)} holds numbers that no instrument writes."
    return ""


def _greatest_magnitude(values: Samples) -> float:
    """Return the greatest value without its sign, 0 of no values and NaN where one is; looked for part by part."""
    found = [0.0]
    for start in range(0, len(values), _PART):
        part = values[start : start + _PART]
        found += [float(part.max()), -float(part.min())]
    return float(np.max(found))


def standing_still(name: str, values: Samples) -> str:
    """Return a sentence where every sample of a voltage is the same and not 0: a test raises it; else nothing."""
    if not values[0] or np.ptp(values):
        return ""
    return (
        f"Every one of the {len(values)} samples of the {channel_words(name)} is {values[0]:.6g}: a test shows the "
        "voltage being raised, and a reading that never moves may be that of an instrument that stands still. Export "
        "the record from before the voltage is raised."
    )


def _arrays(recording: Recording) -> dict[str, Samples]:
    has_time = len(recording.time_s) or not recording.rows
    return {**({"time_s": recording.time_s} if has_time else {}), **recording.channels}


def _missing(arrays: dict[str, Samples], kind: Kind) -> str:
    """Say which channel is missing: one that every set has, else the sets."""
    shared = (name for name in kind.channels[0] if all(name in one for one in kind.channels))
    lacking = next((name for name in shared if name not in arrays), None)
    if lacking is not None:
        return f"The record has no {channel_words(lacking)}."
    sets = "; or ".join(listed([channel_words(name) for name in wanted]) for wanted in kind.channels)
    return f"The record has none of the sets of channels that this kind of test is judged on: {sets}."


def _unsound_axis(axis: Samples, kind: Kind) -> str:
    word, steps = _AXIS_WORDS[kind.axis], steps_of(axis)
    if steps.falls_at:
        return f"{word} goes backwards at sample {steps.falls_at + 1}."
    if len(axis) > 1 and steps.longest_s <= 0:
        return f"All samples carry the same {word.lower()}."
    if 0 < steps.usual_s < SMALLEST:
        return f"The {word.lower()} holds numbers that no instrument writes."
    return repeated(axis, word) if kind.is_axis_strict and steps.equal else ""


def repeated(axis: Samples, word: str = "Time") -> str:
    """Return a sentence where two samples in a row carry the same time or frequency; else nothing."""
    same = axis[1:] == axis[:-1]
    return f"Sample {same.argmax() + 2} carries the same {word.lower()} as the one before it." if same.any() else ""
