"""Times at which a curve crosses a share of its maximum."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from records.readers.recording import Samples

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
    before, after = float(curve_kv[place]), float(curve_kv[place + 1])
    step = float(time_us[place + 1] - time_us[place])
    return float(time_us[place]) + step * (level_kv - before) / (after - before)


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


def expected_excess(count: float) -> float:
    """Return by how many standard deviations the greatest of so many normal values lies above their mean.

    Blom's approximation, Φ⁻¹((n - 3/8)/(n + 1/4)); 0 for one value or fewer. From memory.
    """
    return float(ndtri((count - 0.375) / (count + 0.25))) if count > 1 else 0.0
