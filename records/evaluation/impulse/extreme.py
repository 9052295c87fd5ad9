"""The extreme of a recorded impulse, what the search for it among noise adds, and the overshoot that follows."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from scipy.signal import savgol_filter

from records.evaluation.impulse.fitting import BaseCurve
from records.evaluation.impulse.known import Errors, Value
from records.evaluation.impulse.noise import CurveNoise, searched
from records.evaluation.impulse.recorded import Recorded
from records.evaluation.impulse.rounding import DITHERED, noise_in_steps
from records.evaluation.impulse.stepped import SteppedCurves
from records.evaluation.impulse.times import maximum
from records.readers.recording import Samples

QUIET = 2e-5
"""Share of the extreme: a record with less noise is read sample by sample."""

_CREST_US = 0.1  # half width over which the extreme is read where there is noise
_SEEN = 5.0  # standard deviations of the averaged noise: less is no overshoot that could be told from it
_WIDER = (
    6  # times the average of the extreme: by a polynomial of the fourth degree: oscillations up to some 0.7 MHz stay
)


@dataclass(frozen=True)
class Crest:
    """The recorded curve around its extreme, averaged.

    Attributes
    ----------
    greatest_kv : float
        Greatest value of the averaged curve [kV].
    shape_kv : ndarray (n,)
        The same curve with as little noise as can be had [kV].
    size : int
        Samples averaged together, odd; 1 where the record is read sample by sample.
    is_seen : bool
        Whether the curve shows more than its smooth part and noise.
    """

    greatest_kv: float
    shape_kv: Samples
    size: int
    is_seen: bool


def crest_of(recorded: Recorded, smooth: Samples, rough: Samples) -> Crest:
    """Return the recorded curve around its extreme.

    The curve is `smooth` + `rough`, ndarrays (n,) [kV]; only the second carries noise, and is averaged by parabolas
    over ±0.1 µs. Without noise, or with too few samples for that, nothing is averaged.
    """
    last = len(smooth) if recorded.chopped is None else recorded.chopped + 1
    if recorded.noise_kv <= QUIET * recorded.extreme_kv:
        greatest = maximum(recorded.time_us[:last], recorded.values_kv[:last])[1]
        return Crest(greatest, np.empty(0), 1, is_seen=False)
    near = np.flatnonzero(recorded.values_kv[:last] > 0.8 * recorded.extreme_kv)
    part = slice(int(near[0]), int(near[-1]) + 1)
    half = max(2, round(_CREST_US / recorded.interval_us))
    size = min(2 * half + 1, part.stop - part.start - (part.stop - part.start + 1) % 2)
    if size < 5:
        return Crest(recorded.extreme_kv, np.empty(0), 1, is_seen=False)
    begin, end = max(part.start - half, 0), min(part.stop + half, last)  # so that no end of the part is ill averaged
    over = savgol_filter(rough[begin:end], size, 2, mode="nearest")[part.start - begin : part.stop - begin]
    left = math.hypot(recorded.lasting_kv * math.sqrt(9 / (4 * size)), recorded.rounding_kv)
    is_seen = bool(np.abs(over).max() > _SEEN * left)
    shape = smooth[part]
    if is_seen:
        wide = min(_WIDER * half, (end - begin - 1) // 2)
        shape = shape + savgol_filter(rough[begin:end], 2 * wide + 1, 4)[part.start - begin : part.stop - begin]
    return Crest(float((smooth[part] + over).max()), shape, size, is_seen)


def extreme_of(recorded: Recorded, crest: Crest) -> tuple[float, float]:
    """Return the extreme of the recorded curve [kV] and its standard uncertainty [kV].

    Among what noise is left the greatest value is sought, so it exceeds the extreme: by how much is found by doing the
    same with further noise, on the smooth curve where the record shows nothing but noise beside it, else on the record
    averaged more widely.
    """
    if crest.size == 1:
        return crest.greatest_kv, recorded.noise_kv
    found = searched(crest.shape_kv, crest.size, recorded.lasting_kv)
    return crest.greatest_kv - found.excess_kv, math.hypot(found.spread_kv, recorded.rounding_kv)


def stepped_curves(
    recorded: Recorded, base: BaseCurve, window_us: tuple[float, float], residual: Samples, crest: Crest
) -> SteppedCurves | None:
    """Return what the recorder's steps do to the curve, or None where noise averages them out or none are found."""
    if not recorded.step_kv or crest.size == 1:
        return None
    of_base = recorded.values_kv - residual
    last = int(np.searchsorted(recorded.time_us, window_us[1]))
    # An oscillation is no noise: where one is seen, the noise is read after a third of the tail.
    tail = slice(recorded.crest + ((last - recorded.crest) // 3 if crest.is_seen else 0), last)
    noise = noise_in_steps(recorded.values_kv[tail], of_base[tail], recorded.step_kv)
    if noise >= DITHERED:
        return None
    return SteppedCurves(recorded, base, window_us, noise, residual if crest.is_seen else None)


def with_steps(recorded: Recorded, stepped: SteppedCurves | None) -> Recorded:
    """Return a record whose noise is what remains beside the draws of the steps' place; the same without draws."""
    if stepped is None:
        return recorded
    lasting = stepped.noise_kv * math.sqrt(recorded.alike)
    u_base = lasting / math.sqrt(recorded.flat) if recorded.flat else 0.0
    return replace(recorded, rounding_kv=0.0, lasting_kv=lasting, base_uncertainty_kv=u_base)


def overshoot_of(
    recorded: Recorded, base: BaseCurve, crest: Crest, noise: CurveNoise, stepped: SteppedCurves | None
) -> Value:
    """Return β′ = 100 (Ue - Ub)/Ue [%], Ue being the extreme and Ub the maximum of the base curve."""
    top = base.wave.crest_kv
    if stepped is not None:
        excess, drawn = stepped.of_extreme(_CREST_US)
        extreme = crest.greatest_kv - excess
        errors = Errors(100 * drawn / extreme, 100 * noise.of_base_crest() / extreme)
        return Value(100 * (extreme - top) / extreme, errors.standard, coverage_factor=errors.coverage_factor)
    extreme, u_extreme = extreme_of(recorded, crest)
    # A wrong level, and a wrong drift, move the extreme and the base curve, the latter through its fit.
    away = base.wave.start_us + base.wave.crest_us - recorded.flat_centre_us
    u_level = recorded.base_uncertainty_kv * (1 - noise.crest_by(lambda time_us: np.ones_like(time_us)))
    by_drift = away - noise.crest_by(lambda time_us: time_us - recorded.flat_centre_us)
    u_drift = recorded.drift_uncertainty_kv_per_us * by_drift
    u = 100 * math.hypot(u_extreme, noise.of_base_crest(), u_level, u_drift) / extreme
    return Value(100 * (extreme - top) / extreme, u)
