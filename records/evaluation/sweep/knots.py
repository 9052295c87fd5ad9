"""Sweeps that somebody interpolated: the measured points are found again between straight lines, or it is said."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from records.evaluation.wording import called, opening
from records.readers.recording import Recording, Samples

_LEAST_STRAIGHT = 0.3  # share of samples that lie on the line between their neighbours: from three for two points on
_STRONG = 5.0  # times what rounding bends: a sample that surely lies off the line
_LEAST_KNOTS = 8
_APART = 0.9  # of the samples off the line: so many must stand alone or in pairs
_ISOLATED = 0.08  # share of samples on the line of neighbours that are off theirs, from which on points are lost
_MOST_DIGITS = 12
_LOOKED_AT = 64
_DB = 20 / math.log(10)  # decibels of a relative change

_NOT_FOUND = (
    "Samples lie on straight lines between their neighbours as measured ones do not: the sweep was interpolated, and "
    "the points that were measured are not found in it. Export these."
)

_Flags = NDArray[np.bool_]


class Interpolated(ValueError):
    """A sweep was interpolated so that its measured points are not found again; the message is a reason."""


@dataclass(frozen=True)
class Found:
    """Measured points of a sweep, and in words how it was interpolated; empty where it was not."""

    recording: Recording
    words: str = ""


@dataclass(frozen=True)
class _Way:
    """One way to interpolate: over which axis, what of the record straight, and back to channels."""

    words: str
    axis: Callable[[Samples], Samples]
    back: Callable[[Samples], Samples]
    values: tuple[Samples, ...]
    steps: tuple[Samples, ...]
    channels: Callable[[tuple[Samples, ...]], dict[str, Samples]]


LOST = "interpolated"
"""Line of a recording's metadata that says why its measured points are not known."""


def measured_sweeps(records: Sequence[Recording]) -> tuple[tuple[Recording, ...], tuple[str, ...]]:
    """Return sweeps by their measured points alone, and what is to be said of those that were interpolated.

    One whose points are lost stays as it is, with the reason in its metadata under `LOST`.
    """
    made, said = [], []
    for number, record in enumerate(records, start=1):
        named = f"{opening(called(record, f'record {number}'))}: " if len(records) > 1 else ""
        try:
            found = measured_points(record)
        except Interpolated as fault:
            made.append(replace(record, metadata={**record.metadata, LOST: str(fault)}))
            continue
        made.append(found.recording)
        if found.words:
            said.append(f"{named}{found.words}")
    return tuple(made), tuple(said)


def measured_points(recording: Recording) -> Found:
    """Return the points of a sweep that were measured.

    Parameters
    ----------
    recording : Recording
        With ``frequency_hz`` rising, and one of the forms of a frequency response.

    Returns
    -------
    Found
        The recording itself where nothing tells that it was interpolated.

    Raises
    ------
    Interpolated
        Samples lie on the line between their neighbours as no measured ones do, and the points between which the
        lines run are not found.

    Notes
    -----
    A sample bends by y - (line between its neighbours), over frequency or its logarithm, in the magnitude, in decibels
    and phase, or in real and imaginary part. Measured samples bend by their noise and by the curve, interpolated
    ones by rounding alone. Where the bent ones stand alone, they are the points; where they stand in pairs, a point
    lies between the two, where the lines of either side meet. What rounding bends is told by the digits written.
    """
    frequency = recording.channels["frequency_hz"]
    if len(frequency) < 4 * _LEAST_KNOTS or frequency[0] <= 0:
        return Found(recording)
    with np.errstate(all="ignore"):  # of values that no sweep has, which are refused later
        ways = [way for way in _ways(recording) if all(np.isfinite(values).all() for values in way.values)]
        tried = [(way, _bends(way.axis(frequency), frequency, way)) for way in ways]
    straight = [(way, bends > 1) for way, bends in tried if _is_apart(bends, bends > 1)]
    if straight:
        way, off = min(straight, key=lambda one: int(np.count_nonzero(one[1])))
        return _found(recording, way, way.axis(frequency), off)
    if any(_is_lost(bends) for _, bends in tried):
        raise Interpolated(_NOT_FOUND)
    return Found(recording)


def _ways(recording: Recording) -> Iterator[_Way]:
    axes = (("frequency", np.asarray, np.asarray), ("the logarithm of frequency", np.log, np.exp))
    for of_values, values, steps, channels in _forms(recording.channels):
        for of_axis, axis, back in axes:
            yield _Way(f"{of_values} over {of_axis}", axis, back, values, steps, channels)


_Form = tuple[str, tuple[Samples, ...], tuple[Samples, ...], Callable[[tuple[Samples, ...]], dict[str, Samples]]]


def _forms(channels: Mapping[str, Samples]) -> Iterator[_Form]:
    """Yield what of a record may have been interpolated, in words, with the way back to its channels."""
    phases = (channels["phase_deg"],) if "phase_deg" in channels else ()
    of_phases = tuple(_written_step(phase) for phase in phases)

    def polar(name: str, way: Callable[[Samples], Samples]) -> Callable[[tuple[Samples, ...]], dict[str, Samples]]:
        return lambda values: {name: way(values[0]), **({"phase_deg": values[1]} if phases else {})}

    if "gain_db" in channels:
        level, size = channels["gain_db"], _from_db(channels["gain_db"])
        step = _written_step(level)
        yield "decibels", (level, *phases), (step, *of_phases), polar("gain_db", np.asarray)
        yield "magnitude", (size, *phases), (size * step / _DB, *of_phases), polar("gain_db", _to_db)
    elif "impedance_ohm" in channels:
        size = channels["impedance_ohm"]
        step = _written_step(size)
        yield "magnitude", (size, *phases), (step, *of_phases), polar("impedance_ohm", np.asarray)
        if (size > 0).all():
            level = _to_db(size)
            yield "decibels", (level, *phases), (_DB * step / size, *of_phases), polar("impedance_ohm", _from_db)
    for names in (("impedance_real_ohm", "impedance_imag_ohm"), ("reflection_real", "reflection_imag")):
        if all(name in channels for name in names) and not {"gain_db", "impedance_ohm"} & set(channels):
            yield from _of_parts(names, channels[names[0]], channels[names[1]])


def _of_parts(names: tuple[str, str], real: Samples, imaginary: Samples) -> Iterator[_Form]:
    steps = (_written_step(real), _written_step(imaginary))
    yield "real and imaginary part", (real, imaginary), steps, lambda values: dict(zip(names, values, strict=True))
    size = np.hypot(real, imaginary)
    if not (size > 0).all():
        return

    def turned(values: tuple[Samples, ...]) -> dict[str, Samples]:
        made = _from_db(values[0]) * np.exp(1j * np.radians(values[1]))
        return {names[0]: made.real.copy(), names[1]: made.imag.copy()}

    values = (_to_db(size), np.degrees(np.unwrap(np.arctan2(imaginary, real))))
    share = np.hypot(*steps) / size
    of_values = tuple(
        np.maximum(_written_step(one), unit * share) for one, unit in zip(values, (_DB, 180 / math.pi), strict=True)
    )
    yield "decibels", values, of_values, turned


def _to_db(size: Samples) -> Samples:
    return np.asarray(20 * np.log10(size), dtype=np.float64)


def _from_db(level: Samples) -> Samples:
    return np.asarray(10 ** (level / 20), dtype=np.float64)


def _bends(x: Samples, frequency: Samples, way: _Way) -> Samples:
    """Return how far each inner sample (n - 2,) lies off the line of its neighbours, as a multiple of rounding."""
    step_x = way.axis(frequency + _written_step(frequency)) - x
    share = (x[1:-1] - x[:-2]) / (x[2:] - x[:-2])
    worst = np.zeros(len(x) - 2)
    for values, step in zip(way.values, way.steps, strict=True):
        line = values[:-2] + share * (values[2:] - values[:-2])
        steps = np.maximum(np.maximum(step[:-2], step[1:-1]), step[2:])
        slope = np.abs((values[2:] - values[:-2]) / (x[2:] - x[:-2]))
        rounding = 1.05 * (steps + slope * step_x[1:-1]) + 1e-11 * float(np.abs(values).max(initial=0.0))
        worst = np.maximum(worst, np.abs(values[1:-1] - line) / np.maximum(rounding, 1e-300))
    return worst


def _written_step(values: Samples) -> Samples:
    """Return the step of the last digit that each value was written with (n,); nearly 0 where none is found."""
    size = np.abs(values)
    exponent = np.floor(np.log10(np.where(size > 0, size, 1.0)))
    decimals = (np.full(len(values), 10.0**-digits) for digits in range(_MOST_DIGITS + 1))
    digits = (10.0 ** (exponent - digits) for digits in range(2, _MOST_DIGITS))
    found = [next((steps for steps in kind if _are_multiples(values, steps)), None) for kind in (decimals, digits)]
    known = [steps for steps in found if steps is not None]
    return np.asarray(np.max(known, axis=0) if known else 1e-12 * size, dtype=np.float64)


def _are_multiples(values: Samples, steps: Samples) -> bool:
    for part in (slice(None, _LOOKED_AT), slice(None)):
        counts = values[part] / steps[part]
        if (np.abs(counts - np.round(counts)) > 1e-5 + 1e-12 * np.abs(counts)).any():
            return False
    return True


def _is_apart(bends: Samples, off: _Flags) -> bool:
    """Tell whether the samples off the line are few, clear, and stand alone or in pairs."""
    strong = off & (bends > _STRONG)
    if off.mean() > 1 - _LEAST_STRAIGHT or np.count_nonzero(strong) < max(_LEAST_KNOTS, 0.5 * np.count_nonzero(off)):
        return False
    return bool(np.mean(_run_lengths(off)[strong] <= 2) >= _APART)


def _run_lengths(flags: _Flags) -> NDArray[np.int_]:
    """Return for each sample how many neighbours in a row, itself among them, have the same flag."""
    starts = np.flatnonzero(np.concatenate([[True], flags[1:] != flags[:-1]]))
    lengths = np.diff(np.append(starts, len(flags)))
    return np.asarray(np.repeat(lengths, lengths), dtype=np.int_)


def _is_lost(bends: Samples) -> bool:
    """Tell whether more samples lie on the line of neighbours that are off theirs than noise could bring there."""
    between = (bends[:-2] > 3) & (bends[2:] > 3)
    straight, nearly = between & (bends[1:-1] <= 1), between & (bends[1:-1] > 1) & (bends[1:-1] <= 3)
    return bool(straight.mean() > _ISOLATED and straight.sum() > 2 * nearly.sum())


def _found(recording: Recording, way: _Way, x: Samples, off: _Flags) -> Found:
    lengths = _run_lengths(off)
    is_between = np.count_nonzero(off & (lengths == 2)) > np.count_nonzero(off & (lengths == 1))
    inner = np.flatnonzero(off) + 1
    if not is_between:
        kept = np.unique(np.concatenate([[0], inner, [len(x) - 1]]))
        channels = {name: values[kept] for name, values in recording.channels.items()}
    else:
        channels = _met(way, x, off, lengths)
        if set(channels) != set(recording.channels):
            raise Interpolated(_NOT_FOUND)
    made = replace(recording, channels=channels)
    words = (
        f"The sweep of {recording.rows} samples was interpolated from {made.rows} by straight lines in {way.words}: "
        "these alone are evaluated."
    )
    return Found(made, words)


def _met(way: _Way, x: Samples, off: _Flags, lengths: NDArray[np.int_]) -> dict[str, Samples]:
    """Return the points where the lines on either side of a bent pair meet, and bent samples that stand alone."""
    first = np.flatnonzero(off[:-1] & off[1:] & (lengths[:-1] == 2)) + 1  # of the pair, among all samples
    first = first[(first >= 1) & (first <= len(x) - 3)]
    lines, above, below = [], np.zeros(len(first)), np.zeros(len(first))
    for values in way.values:
        left = (values[first] - values[first - 1]) / (x[first] - x[first - 1])
        right = (values[first + 2] - values[first + 1]) / (x[first + 2] - x[first + 1])
        scale = float(np.std(values)) or 1.0
        turn, gap = (right - left) / scale, (values[first] - values[first + 1]) / scale
        # left: y1 + a (x - x1); right: y2 + b (x - x2)
        above += turn * (gap - left / scale * x[first] + right / scale * x[first + 1])
        below += turn**2
        lines.append((values[first], left))
    places = np.where(below > 0, above / np.where(below > 0, below, 1.0), x[first])
    places = np.clip(places, x[first], x[first + 1])
    alone = np.flatnonzero(off & (lengths == 1)) + 1
    order = np.argsort(np.concatenate([places, x[alone]]), kind="stable")
    axis = np.concatenate([places, x[alone]])[order]
    made = [
        np.concatenate([start + slope * (places - x[first]), values[alone]])[order]
        for (start, slope), values in zip(lines, way.values, strict=True)
    ]
    rising = np.concatenate([[True], np.diff(axis) > 0])
    kept = [np.asarray(values[rising], dtype=np.float64) for values in made]
    return {"frequency_hz": np.asarray(way.back(axis[rising]), dtype=np.float64), **way.channels(tuple(kept))}
