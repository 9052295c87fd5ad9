"""Times at which a curve crosses a share of its maximum."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from records.readers.recording import Samples

_LEAST_SETTLED, _STANDING = 8, 25
_NEWTON = 4
# Coefficients of 1, x, x², x³ of the cubic through values at -1, 0, 1, 2.
_CUBIC = np.linalg.inv(np.vander([-1.0, 0.0, 1.0, 2.0], increasing=True))
_TOGETHER_US, _TOGETHER_SHARE = 0.1, 0.02  # crossings this close to the last one are one crossing torn by noise


@dataclass(frozen=True)
class Crossing:
    """A time [µs] and the slope of the curve there [kV/µs]."""

    time_us: float
    slope: float


def front_crossing(time_us: Samples, curve_kv: Samples, level_kv: float, crest: int) -> Crossing | None:
    """Return the last rise through a level before the crest, or None where there is none."""
    return _crossing(time_us[: crest + 1], curve_kv[: crest + 1], level_kv, rising=True)


def tail_crossing(time_us: Samples, curve_kv: Samples, level_kv: float, crest: int) -> Crossing | None:
    """Return the last fall through a level after the crest, or None where the record ends above it."""
    return _crossing(time_us[crest:], curve_kv[crest:], level_kv, rising=False)


def _crossing(time_us: Samples, curve_kv: Samples, level_kv: float, *, rising: bool) -> Crossing | None:
    over = curve_kv >= level_kv
    places = np.flatnonzero(~over[:-1] & over[1:] if rising else over[:-1] & ~over[1:])
    if not len(places):
        return None
    times = np.array([_between(time_us, curve_kv, level_kv, int(place)) for place in places])
    near = max(_TOGETHER_US, _TOGETHER_SHARE * abs(float(times[-1] - time_us[0])))
    together = times[times >= times[-1] - near]
    middle = float((together[0] + together[-1]) / 2)
    return Crossing(middle, _slope(time_us, curve_kv, middle, near))


def _between(time_us: Samples, curve_kv: Samples, level_kv: float, place: int) -> float:
    """Return where the curve crosses a level between two samples, by the cubic through four, else by a straight line.

    A straight line across the bend of a front reads T1 of 1.2 µs up to 2e-4 of it wrong at 20 ns, and 14 bits show it.
    """
    step = float(time_us[place + 1] - time_us[place])
    before, after = float(curve_kv[place]), float(curve_kv[place + 1])
    line = (level_kv - before) / (after - before)
    share = line
    if 0 < place < len(curve_kv) - 2:
        cubic = _CUBIC @ (curve_kv[place - 1 : place + 3] - level_kv)
        for _ in range(_NEWTON):
            slope = cubic[1] + share * (2 * cubic[2] + 3 * share * cubic[3])
            if slope:
                share -= float((cubic[0] + share * (cubic[1] + share * (cubic[2] + share * cubic[3]))) / slope)
        share = share if 0 <= share <= 1 else line
    return float(time_us[place]) + step * share


def _slope(time_us: Samples, curve_kv: Samples, at_us: float, reach_us: float) -> float:
    interval = float(time_us[1] - time_us[0])
    reach = max(min(reach_us / 2, 0.5), interval)
    ends = np.clip([at_us - reach, at_us + reach], time_us[0], time_us[-1])
    low, high = np.interp(ends, time_us, curve_kv)
    return float((high - low) / (ends[1] - ends[0]))


def maximum(time_us: Samples, curve_kv: Samples) -> tuple[float, float]:
    """Return time [µs] and value [kV] of a curve's maximum, by a parabola through its greatest samples."""
    place = int(curve_kv.argmax())
    if not 0 < place < len(curve_kv) - 1:
        return float(time_us[place]), float(curve_kv[place])
    before, top, after = (float(one) for one in curve_kv[place - 1 : place + 2])
    bend = before - 2 * top + after
    if bend >= 0:
        return float(time_us[place]), top
    shift = 0.5 * (before - after) / bend
    return float(time_us[place] + shift * (time_us[1] - time_us[0])), top - 0.25 * (before - after) * shift


def settled(
    time_us: Samples, curve_kv: Samples, level_kv: float, near: Crossing, reach_us: float
) -> tuple[Crossing, Samples]:
    """Return the crossing of a noisy curve by a parabola around it, and a few times that stand for its samples.

    Noise that is steeper than the curve crosses the level several times, and which of them is taken is chance.

    Parameters
    ----------
    time_us, curve_kv : ndarray (n,)
        Even times [µs] and the curve [kV].
    level_kv : float
        [kV].
    near : Crossing
        A first crossing.
    reach_us : float
        Half width of the parabola [µs].

    Returns
    -------
    Crossing
        Where the parabola crosses the level; the first crossing where it does not, or the curve ends too near.
    ndarray (m,)
        Times from the crossing [µs]; 0 alone where the first crossing was kept.
    """
    first, last = np.searchsorted(time_us, [near.time_us - reach_us, near.time_us + reach_us])
    if last - first < _LEAST_SETTLED or last >= len(time_us):
        return near, np.zeros(1)
    away = time_us[first:last] - near.time_us
    bend, slope, level = np.polyfit(away, curve_kv[first:last] - level_kv, 2)
    shift = 0.0
    for _ in range(4):
        shift -= (level + slope * shift + bend * shift**2) / (slope + 2 * bend * shift)
    if not abs(shift) < reach_us:
        return near, np.zeros(1)
    return Crossing(near.time_us + shift, slope + 2 * bend * shift), np.linspace(away[0], away[-1], _STANDING) - shift


def weights_at_centre(away_us: Samples) -> Samples:
    """Return the weights (m,) of values at times [µs] with which a parabola through them reads at 0; 1 for one time."""
    if len(away_us) < 3:
        return np.ones(1)
    scaled = away_us / np.abs(away_us).max()
    return np.asarray(np.linalg.pinv(np.vander(scaled, 3))[2], dtype=np.float64)
