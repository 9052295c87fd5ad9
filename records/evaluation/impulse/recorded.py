"""One recorded impulse made ready: evenly spaced, base level taken off, turned to positive polarity, chopping found."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from equipment.metrology.serial import serial_factor
from records.evaluation.clipping import clipped_samples
from records.evaluation.impulse.rounding import step_of
from records.evaluation.measured import resolution_of
from records.readers.recording import Samples

_LEAST_FLAT = 8  # samples that a base level is read from
_MOST_BRIDGED = 2.0  # times as long as even samples would take: beyond that too much is missing
_JITTER = 0.02  # of the sampling period: times closer than this to an even grid are even
_DRIFT_SIGMA = 4.0  # a base line that slopes by more standard deviations than this drifts
_NOTHING = 1e-12  # of the greatest sample: a scatter of rounding in the machine
_LEAST_OVER_NOISE = 10.0
_GAP_OF_FRONT = 0.1  # of the front: a longer gap on it leaves its shape unknown
_AT_REST = 0.3  # of the voltage before a collapse: what may be left at the end of the record
_FALL_US = 1.0  # a collapse is a fall within this time …
_FALL_SHARE, _FALL_OF_EXTREME = 0.4, 0.15  # … by this share of the voltage before it, and of the extreme


class NoImpulse(ValueError):
    """The record shows no impulse that can be evaluated; the message is the finding's reason."""


@dataclass(frozen=True)
class Recorded:
    """A recorded curve as the evaluation uses it.

    Attributes
    ----------
    time_us : ndarray (n,)
        Even times [µs], as in the record.
    values_kv : ndarray (n,)
        Recorded curve, base level subtracted, positive [kV].
    interval_us : float
        Sampling period [µs].
    sign : int
        1 or -1: the record's polarity.
    base_kv, base_uncertainty_kv : float
        Base level as recorded and its standard uncertainty [kV].
    rounding_kv : float
        Standard deviation of what rounding to the recorder's steps leaves however many samples are averaged [kV].
    drift_kv_per_us, drift_uncertainty_kv_per_us, flat_centre_us : float
        Drift that was taken off and its standard uncertainty [kV/µs], 0 where none was, and the time [µs] about which.
    noise_kv : float
        Standard deviation of one sample, noise and resolution together [kV].
    lasting_kv : float
        The same as it counts for a mean of many [kV]: √f times as much where neighbours are alike, without what
        rounding leaves in all of them, which is `rounding_kv`.
    step_kv : float
        Of the recorder [kV]; 0 where the samples do not lie on equal steps.
    flat : int
        Samples from the first on that the base level was read from; 0 where there are none.
    alike : float
        By how much the variance of a mean exceeds that of independent samples, dimensionless.
    crest : int
        Index of the extreme.
    chopped : int or None
        Index of the last sample before the voltage collapses; None for a full wave.
    remarks : tuple of str
        What was odd, in sentences.
    """

    time_us: Samples
    values_kv: Samples
    interval_us: float
    sign: int
    base_kv: float
    base_uncertainty_kv: float
    noise_kv: float
    crest: int
    chopped: int | None
    remarks: tuple[str, ...] = ()
    rounding_kv: float = 0.0
    drift_uncertainty_kv_per_us: float = 0.0
    flat_centre_us: float = 0.0
    lasting_kv: float = 0.0
    drift_kv_per_us: float = 0.0
    step_kv: float = 0.0
    flat: int = 0
    alike: float = 1.0

    @property
    def extreme_kv(self) -> float:
        """Greatest recorded sample [kV], positive."""
        return float(self.values_kv[self.crest])


def prepare(time_s: Samples, voltage_kv: Samples) -> Recorded:
    """Return one record made ready for evaluation.

    Parameters
    ----------
    time_s : ndarray (n,)
        Rising times [s].
    voltage_kv : ndarray (n,)
        Samples as recorded [kV].

    Returns
    -------
    Recorded
        Frozen.

    Raises
    ------
    NoImpulse
        No impulse stands out of the noise, it began before the record, the record is clipped, or samples are missing
        where they matter.

    Notes
    -----
    The base level is the mean of the flat part before the impulse; where it drifts significantly the drift is taken
    off. Without a flat part the record's own zero is taken, with a remark.

    References
    ----------
    IEC 60060-1:2010 annex B, from memory.
    """
    times, values, gaps = evened(time_s * 1e6, voltage_kv)
    interval = float(times[-1] - times[0]) / (len(times) - 1)
    sign = _polarity(values)
    turned = sign * (values - values[0])
    crest = _crest(turned, interval)[0]
    flat = _flat_part(turned, crest)
    base = _base(times, values, flat, crest)
    turned = sign * (values - base.line_kv)
    step_kv = resolution_of(voltage_kv)
    # Two levels in the flat part may be noise at the edge of a step, which tells nothing of its size.
    is_dithered = len(np.unique(values[:flat])) > 2
    noise = max(base.noise_kv, step_kv / math.sqrt(12))
    rounding = _rounding(step_kv, base.noise_kv if is_dithered else 0.0)
    crest, chopped = _crest(turned, interval)
    _require_impulse(turned, crest, noise, flat)
    _refuse_swinging(turned, chopped)
    clipped = clipped_samples(sign * values, step_kv)
    if clipped:
        raise NoImpulse(
            f"{clipped} samples in a row carry the greatest value, {turned[crest]:.4g} kV: the record is clipped at "
            "the edge of the recorder's range. Choose a wider range and repeat the impulse."
        )
    remarks = [*base.remarks, *_told_gaps(gaps, times, crest, flat)]
    return Recorded(
        times,
        turned,
        interval,
        sign,
        base.level_kv,
        math.hypot(base.u_kv, rounding),
        noise,
        crest,
        chopped,
        tuple(remarks),
        rounding,
        base.u_drift_kv_per_us,
        base.centre_us,
        math.sqrt(max(noise**2 * base.alike - rounding**2, 0.0)),
        base.drift_kv_per_us * sign,
        step_of(voltage_kv, step_kv),
        flat if flat >= _LEAST_FLAT else 0,
        base.alike,
    )


def _rounding(step_kv: float, spread_kv: float) -> float:
    """Return the standard deviation of rounding that does not average out [kV].

    Noise of σ before rounding to steps of q leaves exp(-2π²σ²/q²) of the staircase's first harmonic: nothing from
    half a step on, all of q/√12 without noise. σ² is the spread of the flat part less q²/12.
    """
    if not step_kv:
        return 0.0
    before = max((spread_kv / step_kv) ** 2 - 1 / 12, 0.0)
    return step_kv / math.sqrt(12) * math.exp(-2 * math.pi**2 * before)


@dataclass(frozen=True)
class _Base:
    line_kv: Samples | float
    level_kv: float
    u_kv: float
    noise_kv: float
    remarks: tuple[str, ...] = ()
    u_drift_kv_per_us: float = 0.0
    centre_us: float = 0.0
    alike: float = 1.0
    drift_kv_per_us: float = 0.0


def evened(time_us: Samples, values: Samples) -> tuple[Samples, Samples, Samples]:
    """Return even times, values on them, and the gaps (begin, end) that were bridged, an ndarray (m, 2).

    Parameters
    ----------
    time_us, values : ndarray (n,)
        Rising times [µs] and samples [any unit].

    Raises
    ------
    NoImpulse
        Even samples would be more than twice as many.
    """
    steps = np.diff(time_us)
    usual = float(np.median(steps))
    odd = np.abs(steps - usual) > _JITTER * usual
    if not odd.any():
        return time_us, values, np.empty((0, 2))
    if not time_us[-1] - time_us[0] <= _MOST_BRIDGED * usual * len(steps):
        raise NoImpulse("The samples are too uneven in time: more than half of an even record would be missing.")
    places = np.flatnonzero(steps > 1.5 * usual)
    even = time_us[0] + usual * np.arange(math.floor((time_us[-1] - time_us[0]) / usual * (1 + 1e-9)) + 1)
    return even, np.interp(even, time_us, values), np.column_stack([time_us[places], time_us[places + 1]])


def _told_gaps(gaps: Samples, time_us: Samples, crest: int, flat: int) -> list[str]:
    if not len(gaps):
        return []
    longest = float((gaps[:, 1] - gaps[:, 0]).max())
    begin, end = float(time_us[flat]), float(time_us[crest])
    on_front = gaps[(gaps[:, 1] > begin) & (gaps[:, 0] < end)]
    if len(on_front) and float((on_front[:, 1] - on_front[:, 0]).max()) > _GAP_OF_FRONT * (end - begin):
        raise NoImpulse("Samples are missing on the front of the impulse, so its shape is not known.")
    return [f"{len(gaps)} gaps in the samples, the longest {longest:.3g} µs, were bridged by straight lines."]


def _polarity(values: Samples) -> int:
    """Return the sign of the first great departure from the first sample."""
    away = values - values[0]
    most = float(np.abs(away).max())
    if most == 0:
        raise NoImpulse(f"All samples are {values[0]:.4g} kV: the record shows no impulse.")
    return 1 if away[int(np.argmax(np.abs(away) > most / 2))] > 0 else -1


def _crest(turned: Samples, interval_us: float) -> tuple[int, int | None]:
    """Return the index of the extreme, and that of the last sample before a collapse, where there is one."""
    top = float(turned.max())
    chopped = _collapse(turned, top, interval_us)
    return int(turned[: None if chopped is None else chopped + 1].argmax()), chopped


def _collapse(turned: Samples, top: float, interval_us: float) -> int | None:
    reach = max(1, round(_FALL_US / interval_us))
    begin = int(np.argmax(turned > 0.3 * top))
    before, after = turned[begin:-reach], turned[begin + reach :]
    falls = before - after
    steep = (falls > _FALL_SHARE * before) & (falls > _FALL_OF_EXTREME * top)
    if not steep.any():
        return None
    # A front that is still rising before the fall makes the first such pair too early: the steepest step tells where.
    first = begin + int(np.argmax(steep))
    steps = np.diff(turned[first : first + 2 * reach + 1])
    place = int(steps.argmin())
    while place > 0 and steps[place - 1] < 0.2 * steps.min():
        place -= 1
    return first + place


def _refuse_swinging(turned: Samples, chopped: int | None) -> None:
    """Refuse a wave that falls quickly but does not come to rest, as a sine does: it is no chopped impulse."""
    if chopped is None:
        return
    rest = turned[-max(len(turned) // 10, 1) :]
    if float(np.abs(rest).max()) > _AT_REST * abs(float(turned[chopped])) and len(turned) > chopped + len(rest):
        raise NoImpulse("The voltage falls quickly but does not come to rest: the record shows no impulse.")


def _flat_part(turned: Samples, crest: int) -> int:
    """Return how many samples from the first on are certainly before the impulse."""
    top = float(turned[crest])
    before = turned[: crest + 1]
    fifth = int(np.flatnonzero(before < 0.2 * top)[-1]) if (before < 0.2 * top).any() else 0
    twentieth = np.flatnonzero(before[: fifth + 1] < 0.05 * top)
    if not len(twentieth):
        return 0
    return max(0, int(twentieth[-1]) - max(2 * (fifth - int(twentieth[-1])), 2))


def _base(time_us: Samples, values: Samples, flat: int, crest: int) -> _Base:
    if flat < _LEAST_FLAT:
        bends = np.diff(values[crest:], 2)
        noise = float(np.median(np.abs(bends - np.median(bends)))) / (0.6745 * math.sqrt(6)) if len(bends) else 0.0
        said = "The record has no flat part before the impulse; its own zero is taken as the base level."
        return _Base(0.0, 0.0, 0.0, noise, (said,))
    times, part = time_us[:flat] - time_us[:flat].mean(), values[:flat]
    level, spread = float(part.mean()), float((times**2).sum())
    slope = float(times @ part) / spread
    left = part - level - slope * times
    noise = float(np.sqrt(left @ left / (flat - 2)))
    if noise <= _NOTHING * float(np.abs(values).max()):
        noise, left = 0.0, np.zeros(flat)
    alike = serial_factor(left, 2)
    lasting = noise * math.sqrt(alike)
    u_slope = lasting / math.sqrt(spread)
    if abs(slope) <= _DRIFT_SIGMA * u_slope or noise == 0:
        return _Base(level, level, lasting / math.sqrt(flat), noise, alike=alike)
    centre = float(time_us[:flat].mean())
    said = f"The base level drifts by {slope:.3g} kV/µs before the impulse; the drift was taken off the whole record."
    line = level + slope * (time_us - centre)
    return _Base(line, level, lasting / math.sqrt(flat), noise, (said,), u_slope, centre, alike, slope)


def _require_impulse(turned: Samples, crest: int, noise: float, flat: int) -> None:
    top, first = float(turned[crest]), float(turned[0])
    if top <= 0:
        raise NoImpulse("The record has no front: the voltage only falls away from its first sample.")
    if top <= _LEAST_OVER_NOISE * noise:
        raise NoImpulse(
            f"The greatest departure from the base level, {top:.3g} kV, is not above {_LEAST_OVER_NOISE:g} times the "
            f"noise of {noise:.3g} kV: the record shows no impulse."
        )
    if flat < _LEAST_FLAT and abs(first) > 0.1 * top:
        raise NoImpulse(
            f"The record begins at {abs(first):.3g} kV, in the middle of the impulse: base level and front are missing."
        )
    if crest >= len(turned) - 3:
        raise NoImpulse("The record ends before the impulse has reached its crest.")
    if crest < 3:
        raise NoImpulse("The record has no front: its first samples are the greatest.")
