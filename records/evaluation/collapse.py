"""Disruptive discharges: a voltage that falls away without being lowered."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from records.evaluation.stages import usual_interval
from records.evaluation.step import Stage
from records.readers.recording import Samples

COARSEST_INTERVAL_S = 2.0
_LARGE_PART, _QUICK_S = 0.5, 0.25
_NEARLY_ALL, _SHORTLY_S, _FINE_INTERVAL_S = 0.9, 0.5, 0.5
_STEEPER = 5.0
_NEAR_SET_POINT = 0.15
_FLOOR_UP, _FLOOR_DOWN = 0.05, 0.5
_BLOCK = 1 << 16


@dataclass(frozen=True)
class Collapse:
    """One disruptive discharge: last sample before it, its time [s], voltage before and after [kV]."""

    index: int
    time_s: float
    from_kv: float
    to_kv: float


def find_collapses(time_s: Samples, voltage_kv: Samples, stages: Sequence[Stage]) -> tuple[Collapse, ...]:
    """Return the disruptive discharges that a record shows.

    The voltage collapses where it loses more than half of itself within 0.25 s (at least from one sample to the next),
    or more than 90 % within 0.5 s, and

    - the fall is more than five times the fall over the equal time before it (an orderly ramp-down goes on falling);
    - it does not come to rest within 15 % of a lower set point of the plan (a quick change of stage);
    - it begins above 5 % of the highest set point, and on the way down above half the lowest one (the source is
      switched off at the end of a ramp-down).

    Parameters
    ----------
    time_s, voltage_kv : ndarray (n,)
        Times [s] and r.m.s. voltage [kV].
    stages : sequence of Stage
        For their set points.

    Returns
    -------
    tuple of Collapse
        In order of time. Empty for records with more than 2 s between samples, in which a collapse cannot be told from
        a ramp-down.

    Notes
    -----
    A source that is switched off under full voltage looks the same. That is why only collapses before the last hold is
    complete are counted by the evaluation.

    References
    ----------
    Definition: common practice, no source; that a disruptive discharge fails the unit: IEC 60060-1:2010 clause 6, from
    memory.
    """
    interval = usual_interval(time_s)
    if not 0 < interval <= COARSEST_INTERVAL_S or len(time_s) < 3:
        return ()
    quick = max(1, round(min(_QUICK_S / interval, len(time_s))))
    flags = _falls(voltage_kv, quick, _LARGE_PART, stages)
    if interval <= _FINE_INTERVAL_S:
        flags |= _falls(voltage_kv, max(2, round(min(_SHORTLY_S / interval, len(time_s)))), _NEARLY_ALL, stages)
    return _grouped(time_s, voltage_kv, np.flatnonzero(flags), quick)


def _falls(v: Samples, n: int, part: float, stages: Sequence[Stage]) -> NDArray[np.bool_]:
    """Return for each sample whether a collapse over the `n` samples after it begins there."""
    flags = np.zeros(len(v), dtype=bool)
    if len(v) <= n:
        return flags
    set_points = np.array([stage.voltage_kv for stage in stages])
    candidates = _candidates(v, n, part, min(_FLOOR_DOWN * set_points.min(), _FLOOR_UP * set_points.max()))
    if not len(candidates):
        return flags
    level = v[candidates]
    fall = level - v[candidates + n]
    preceding = np.maximum(v[np.maximum(candidates - n, 0)] - level, 0.0)
    # The greatest value up to each candidate, by stretches between them: one pass without an array of all.
    starts = np.concatenate(([0], candidates[:-1] + 1))
    highest = np.maximum.accumulate(np.maximum.reduceat(v[: candidates[-1] + 1], starts))
    floor = np.where(highest > 1.5 * level, _FLOOR_DOWN * set_points.min(), _FLOOR_UP * set_points.max())
    rest = v[np.minimum(candidates + 3 * n, len(v) - 1)]
    lower = set_points[None, :] < 0.9 * level[:, None]
    lands = (lower & (np.abs(rest[:, None] - set_points[None, :]) <= _NEAR_SET_POINT * set_points[None, :])).any(axis=1)
    good = (fall > _STEEPER * preceding) & (level >= floor) & ~lands
    flags[candidates[good]] = True
    return flags


def _candidates(v: Samples, n: int, part: float, least_kv: float) -> NDArray[np.intp]:
    """Return where a level of at least `least_kv` falls by more than a part of itself within `n` samples."""
    found = []
    for start in range(0, len(v) - n, _BLOCK):
        before = v[start : min(start + _BLOCK, len(v) - n)]
        after = v[start + n : start + n + len(before)]
        if float(after.min()) < (1 - part) * float(before.max()):  # else no sample of the block can
            found.append(start + np.flatnonzero((before - after > part * before) & (before >= least_kv)))
    return np.concatenate(found) if found else np.empty(0, dtype=np.intp)


def _grouped(t: Samples, v: Samples, indices: NDArray[np.intp], n: int) -> tuple[Collapse, ...]:
    if not len(indices):
        return ()
    collapses = []
    for group in np.split(indices, np.flatnonzero(np.diff(indices) > 2 * n + 1) + 1):
        first, end = int(group[0]), min(int(group[-1]) + n, len(v) - 1)
        steepest = first + int(np.argmin(np.diff(v[first : end + 1])))
        level = float(v[first : steepest + 1].max())
        collapses.append(Collapse(steepest, float(t[steepest]), level, float(v[first : end + 1].min())))
    return tuple(collapses)
