"""Stages of a plan found in the voltage of a record."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from records.evaluation.step import Stage
from records.readers.recording import Samples

_STAYS_TRIED = 12
_MOST_INTERVALS = 500_000
_BLOCK = 1 << 16
GAP_FACTOR, GAP_S = 5.0, 1.0


@dataclass(frozen=True)
class Stay:
    """An unbroken stay of the voltage in a stage's band.

    Attributes
    ----------
    first, last : int
        Indices of its first and last sample.
    start_s, end_s : float
        Times of these [s].
    held_s : float
        Its length [s].
    """

    first: int
    last: int
    start_s: float
    end_s: float
    held_s: float


@dataclass(frozen=True)
class LocatedStage:
    """A stage that was reached: index of the first sample in its band, and the longest stay there."""

    stage: Stage
    reached: int
    stay: Stay


def usual_interval(time_s: Samples) -> float:
    """Return the median time between samples [s], those at equal times not counted; 0 where there is none.

    Of a long record every n-th interval is looked at, half a million of them.
    """
    every = max(1, (len(time_s) - 1) // _MOST_INTERVALS)
    steps = time_s[1::every] - time_s[:-1:every]
    steps = steps[steps > 0]
    return float(np.median(steps)) if len(steps) else 0.0


def longest_gap_s(interval_s: float) -> float:
    """Return the time without a sample above which a stay counts as broken [s]: five intervals, at least 1 s."""
    return max(GAP_FACTOR * interval_s, GAP_S)


def _gaps(time_s: Samples, longest_s: float) -> NDArray[np.intp]:
    """Return the samples before which there is a gap, looked for block by block."""
    found = [np.empty(0, dtype=np.intp)]
    for first in range(0, len(time_s) - 1, _BLOCK):
        steps = np.diff(time_s[first : first + _BLOCK + 1])
        if steps.max() > longest_s:
            found.append(first + 1 + np.flatnonzero(steps > longest_s))
    return np.concatenate(found)


def find_stays(
    time_s: Samples, inside: NDArray[np.bool_], start: int = 0, *, interval_s: float | None = None
) -> list[Stay]:
    """Return the unbroken stays, at most a dozen, longest first.

    Parameters
    ----------
    time_s : ndarray (n,)
        Times [s].
    inside : ndarray (n,) of bool
        Whether each sample is in the band.
    start : int
        First sample to look at.
    interval_s : float, optional
        The usual interval [s], where it is known already.

    Returns
    -------
    list of Stay
        Longest first; equals in order of time.

    Notes
    -----
    Each sample stands for the time up to halfway to its neighbours (no more than half the usual interval), so n samples
    at equal intervals inside the band are held for n intervals; nothing is added where the record begins or ends.
    A gap of more than five usual intervals, and more than 1 s, breaks a stay: nothing is known of the voltage then.
    """
    if start >= len(time_s):
        return []
    usual = usual_interval(time_s) if interval_s is None else interval_s
    mask = inside[start:]
    changes = np.flatnonzero(mask[1:] != mask[:-1]) + 1
    edges = np.unique(np.concatenate((changes, _gaps(time_s[start:], longest_gap_s(usual)))))
    begins = np.concatenate(([0], edges)).astype(np.intp)
    begins = begins[mask[begins]] + start
    ends = np.concatenate((edges - 1, [len(mask) - 1])).astype(np.intp)
    ends = ends[mask[ends]] + start
    before = np.where(begins > 0, np.minimum(time_s[begins] - time_s[np.maximum(begins - 1, 0)], usual), 0.0)
    final = len(time_s) - 1
    after = np.where(ends < final, np.minimum(time_s[np.minimum(ends + 1, final)] - time_s[ends], usual), 0.0)
    lengths = time_s[ends] - time_s[begins] + (before + after) / 2
    order = np.argsort(-lengths, kind="stable")[:_STAYS_TRIED]
    return [
        Stay(int(begins[i]), int(ends[i]), float(time_s[begins[i]]), float(time_s[ends[i]]), float(lengths[i]))
        for i in order
    ]


def _after(time_s: Samples, located: LocatedStage, following: Stage) -> int:
    """Return the first sample in which the next stage may be looked for.

    Where the bands overlap the voltage need not leave the first one: then the next may begin once the hold is done.
    """
    stage, stay = located.stage, located.stay
    overlaps = following.low_kv <= stage.high_kv and stage.low_kv <= following.high_kv
    if overlaps and stay.held_s >= stage.hold_s:
        return min(int(np.searchsorted(time_s, stay.start_s + stage.hold_s)), stay.last + 1)
    return stay.last + 1


def _worth_trying(stays: Sequence[Stay], stage: Stage) -> list[Stay]:
    """Return the longest stay, the first that is long enough, and the first of all."""
    in_time = sorted(stays, key=lambda stay: stay.first)
    enough = [stay for stay in in_time if stay.held_s >= stage.hold_s]
    tried = [stays[0], *enough[:1], in_time[0]]
    return [stay for place, stay in enumerate(tried) if stay not in tried[:place]]


def _within(voltage_kv: Samples, stage: Stage) -> NDArray[np.bool_]:
    """Return whether each sample lies in the band of a stage; worked out block by block."""
    inside = np.empty(len(voltage_kv), dtype=bool)
    for first in range(0, len(voltage_kv), _BLOCK):
        block = voltage_kv[first : first + _BLOCK]
        inside[first : first + _BLOCK] = (block >= stage.low_kv) & (block <= stage.high_kv)
    return inside


def locate(
    time_s: Samples, voltage_kv: Samples, stages: Sequence[Stage], start: int = 0, *, interval_s: float | None = None
) -> tuple[LocatedStage | None, ...]:
    """Return where each stage lies in a record.

    A stage is reached when the voltage enters its band after the stage before it ended, and held while it stays inside;
    the longest such stay counts. A later, longer stay is not preferred where the stages after it would then be lost.

    Parameters
    ----------
    time_s, voltage_kv : ndarray (n,)
        Times [s] and r.m.s. voltage [kV].
    stages : sequence of Stage
        In the order of the plan.
    start : int
        First sample to look at.
    interval_s : float, optional
        The usual interval [s], where it is known already.

    Returns
    -------
    tuple of (LocatedStage or None)
        One for each stage; None where it was not reached. Stages after one that was not reached are looked for from
        where that one was.
    """
    if not stages:
        return ()
    stage, rest = stages[0], stages[1:]
    interval_s = usual_interval(time_s) if interval_s is None else interval_s
    inside = _within(voltage_kv, stage)
    stays = find_stays(time_s, inside, start, interval_s=interval_s)
    if not stays:
        return (None, *locate(time_s, voltage_kv, rest, start, interval_s=interval_s))
    reached = start + int(np.argmax(inside[start:]))
    best: tuple[LocatedStage | None, ...] = ()
    for stay in _worth_trying(stays, stage):
        located = LocatedStage(stage, reached, stay)
        following = _after(time_s, located, rest[0]) if rest else 0
        found = (located, *locate(time_s, voltage_kv, rest, following, interval_s=interval_s))
        if all(found):
            return found
        if sum(map(bool, found)) > sum(map(bool, best)):
            best = found
    return best


def best_attempt(time_s: Samples, voltage_kv: Samples, stage: Stage) -> tuple[float, float]:
    """Return the highest level that was held below a stage's band [kV], and for how long [s].

    Levels at most the stage's tolerance under the greatest voltage below the band count as held at it.
    """
    below = voltage_kv[voltage_kv < stage.low_kv]
    if not len(below):
        return float(voltage_kv.max(initial=0.0)), 0.0
    top = float(below.max())
    inside = (voltage_kv <= top) & (voltage_kv >= top * (1 - 2 * stage.tolerance_pct / 100))
    stays = find_stays(time_s, inside)
    if not stays or not math.isfinite(top):
        return top, 0.0
    return float(np.median(voltage_kv[stays[0].first : stays[0].last + 1])), stays[0].held_s
