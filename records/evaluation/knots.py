"""Readings behind a record that was interpolated by straight lines: its pieces meet where the readings were taken."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from records.readers.recording import Samples

_LEAST_KNOTS = 8  # that chance does not make by itself
_CLEARLY = 20.0  # times the rounding of the file: bends below that may be rounding
_IN_MACHINE = 1e-11  # of the greatest value: rounding of the interpolation itself
_MOST_DIGITS, _OFF_PLACE = 13, 1e-3  # digits that a file is read for, and how near to them a value is written with them
_EVEN = 1e-3  # of the interval: an axis that is less even was not interpolated to
_ASIDE = 0.02  # of the interval: a crossing that lies further outside its gap is none
_REGULAR = 0.02  # of the interval: by which crossings of one phase scatter
_LEAST_TURNS = 0.3  # of the kinks: noise alone turns two of three the other way (closed form for independent readings)


@dataclass(frozen=True)
class Readings:
    """Readings of a slow curve.

    Attributes
    ----------
    time_s : ndarray (n,)
        Rising [s].
    values : ndarray (n,)
        [any unit].
    interpolated : int
        Samples of the record that were interpolated from them; 0 where the record is taken as it is.
    """

    time_s: Samples
    values: Samples
    interpolated: int = 0


def readings_behind(time_s: Samples, values: Samples) -> Readings:
    """Return the readings that a record was interpolated from, where it shows them, else the record itself.

    Between two readings the second differences of such a record vanish; the straight pieces on both sides of a reading
    cross at its time and value. Of the two outermost readings only part is seen, so they are left out.

    Parameters
    ----------
    time_s : ndarray (n,)
        Rising [s].
    values : ndarray (n,)
        Finite [any unit].

    Returns
    -------
    Readings
        Frozen.

    Notes
    -----
    Needs an even axis and at least two samples in each piece. Every bend must be explained by a crossing in its gap,
    every sample must be given back by the readings, and the bends must stand clear of the rounding of the file: a
    record that was not interpolated does not do so. Where no second difference vanishes, which is so with exactly two
    samples between readings, all crossings must have one phase, and only one way to pair the samples may give such
    crossings. The pieces must turn now up, now down: the chords of a smooth curve without noise cross too, and all turn
    one way, so that a curve without noise is never taken for an interpolated one. A reading that happens to lie on the
    line of its neighbours is not seen; it is one fewer.

    References
    ----------
    Worked from the definition of interpolation by straight lines; no source.

    Examples
    --------
    >>> sevenths = np.array([0, 3, 1, 4, 1, 5, 8, 2, 6, 5, 3]) / 7
    >>> t = np.arange(0.5, 100.0, 2.0)
    >>> found = readings_behind(t, np.interp(t, np.arange(0.0, 101.0, 10.0), sevenths))
    >>> (7 * found.values).round(9).tolist()
    [3.0, 1.0, 4.0, 1.0, 5.0, 8.0, 2.0, 6.0, 5.0]
    """
    as_it_is = Readings(time_s, values)
    if len(time_s) < 2 * _LEAST_KNOTS:
        return as_it_is
    steps = np.diff(time_s)
    interval = float(steps.mean())
    if np.abs(steps - interval).max() > _EVEN * interval:
        return as_it_is
    bends = np.diff(values, 2)
    rounding = 2.02 * _written_step(values) + _IN_MACHINE * float(np.abs(values).max())
    is_bent = np.abs(bends) > rounding
    if not is_bent.any() or float(np.median(np.abs(bends[is_bent]))) < _CLEARLY * rounding:
        return as_it_is
    found = [
        readings
        for gaps, at_samples in _parsings(is_bent)
        for readings in _crossings(time_s, values, gaps, at_samples, interval, needs_phase=bool(is_bent.all()))
        if _are_given_back(time_s, values, readings, 2 * rounding)
    ]
    return found[0] if len(found) == 1 else as_it_is


def _written_step(values: Samples) -> float:
    """Return the last decimal place that the greatest values were written with [their unit], 0 where to none."""
    greatest = float(np.abs(values).max())
    if not greatest:
        return 0.0
    decade = math.floor(math.log10(greatest))
    looked_at = values[np.abs(values) >= 10.0**decade]
    for digits in range(2, _MOST_DIGITS):
        places = looked_at / 10.0 ** (decade + 1 - digits)
        if float(np.abs(places - np.round(places)).max()) < _OFF_PLACE:
            return float(10.0 ** (decade + 1 - digits))
    return 0.0


def _parsings(is_bent: NDArray[np.bool_]) -> list[tuple[list[int], list[int]]]:
    """Return the ways to explain the bends: gaps (number of the sample before) and samples that hold a reading.

    A reading in a gap bends the curve at the samples before and after it, a reading at a sample there alone. Bend i
    belongs to sample i + 1.
    """
    edges = np.flatnonzero(np.diff(np.concatenate([[False], is_bent, [False]]).astype(np.int8)))
    gaps: list[int] = []
    at_samples: list[int] = []
    for begin, end in edges.reshape(-1, 2).tolist():
        is_first, is_last = begin == 0, end == len(is_bent)
        count = end - begin
        if is_first and is_last:
            return [([*range(1 + by, count - (count - by) % 2, 2)], []) for by in (0, 1)]
        if count == 1 and not is_first and not is_last:
            at_samples.append(begin + 1)
        elif count % 2 and not is_first and not is_last:
            return []
        else:
            gaps += range(begin + 1 + (count % 2 if is_first else 0), end, 2)
    return [(gaps, at_samples)]


def _crossings(
    time_s: Samples, values: Samples, gaps: list[int], at_samples: list[int], interval: float, *, needs_phase: bool
) -> list[Readings]:
    """Return the readings, one set or none where a crossing lies outside its gap."""
    before = np.array([gap for gap in gaps if 1 <= gap <= len(values) - 3], dtype=np.intp)
    if len(before) + len(at_samples) < _LEAST_KNOTS:
        return []
    left = values[before] - values[before - 1]
    right = values[before + 2] - values[before + 1]
    over = values[before + 1] - values[before]
    # left x = over + right (x - 1): x from the sample before, in intervals
    with np.errstate(divide="ignore", invalid="ignore"):
        share = (over - right) / (left - right)
    if not (np.isfinite(share).all() and (share > -_ASIDE).all() and (share < 1 + _ASIDE).all()):
        return []
    if needs_phase and float(np.std(share)) > _REGULAR:
        return []
    times = np.concatenate([time_s[before] + share * interval, time_s[at_samples]])
    found = np.concatenate([values[before] + share * left, values[at_samples]])
    order = np.argsort(times)
    if not _is_scattered(np.diff(found[order]) / np.diff(times[order])):
        return []
    return [Readings(times[order], found[order], len(values))]


def _is_scattered(slopes: NDArray[np.float64]) -> bool:
    """Return whether the pieces turn now up, now down, as between readings with noise; a smooth curve's do not."""
    turns = np.sign(np.diff(slopes))
    return bool(np.count_nonzero(np.diff(turns)) > _LEAST_TURNS * (len(turns) - 1))


def _are_given_back(time_s: Samples, values: Samples, found: Readings, rounding: float) -> bool:
    between = (time_s >= found.time_s[0]) & (time_s <= found.time_s[-1])
    again = np.interp(time_s[between], found.time_s, found.values)
    return bool(np.abs(again - values[between]).max(initial=0.0) <= rounding)


def interpolated_in_words(readings: Readings) -> str:
    """Return a sentence where a record was interpolated, else nothing."""
    if not readings.interpolated:
        return ""
    return (
        f"The record's {readings.interpolated} samples lie on straight lines between {len(readings.values)} readings: "
        "it was interpolated, and the readings themselves were taken."
    )
