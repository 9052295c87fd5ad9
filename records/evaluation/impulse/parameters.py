"""The parameters of one lightning impulse, each with its standard uncertainty from noise, resolution and fit."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from records.evaluation.impulse.extreme import (
    QUIET,
    Crest,
    crest_of,
    extreme_of,
    overshoot_of,
    stepped_curves,
    with_steps,
)
from records.evaluation.impulse.fitting import BaseCurve, NoFit, fit_base_curve
from records.evaluation.impulse.known import Spread, Value
from records.evaluation.impulse.noise import CurveNoise
from records.evaluation.impulse.recorded import NoImpulse, Recorded, prepare
from records.evaluation.impulse.smoothing import filtered, is_sampled_finely
from records.evaluation.impulse.stepped import SteppedCurves
from records.evaluation.impulse.times import (
    Crossing,
    front_crossing,
    maximum,
    settled,
    tail_crossing,
    weights_at_centre,
)
from records.readers.recording import Samples

LOW, HIGH = 0.2, 0.4
"""Shares of the extreme at which the fit's window begins on the front and ends on the tail."""

_TAIL_SHARE = 0.04  # of the time from the crest: half width over which a noisy tail is read
_LEAST_ON_FRONT = 4  # samples between 30 % and 90 %
_LEAST_TAIL_US = 0.5  # between crest and chopping: two time constants of the filter
_WORST_RESIDUAL = 0.1  # of the extreme: a base curve that leaves more is none


@dataclass(frozen=True)
class Marks:
    """Points of the test-voltage curve for the picture: times [µs] of the record; None where the curve ends before."""

    t30_us: float
    t90_us: float
    origin_us: float
    t50_us: float | None = None


@dataclass(frozen=True)
class Impulse:
    """One impulse as evaluated.

    Attributes
    ----------
    recorded : Recorded
        Record made ready.
    base : BaseCurve or None
        Fitted base curve; None for a wave chopped on the front, and where the fit failed.
    curve_kv : ndarray (n,)
        Test-voltage curve [kV], positive; the recorded curve where there is no base curve.
    test_voltage_kv : Value
        Ut, maximum of the test-voltage curve [kV], positive.
    front_us, half_value_us : Value
        T1 and T2 [µs].
    overshoot_pct : Value
        β′ = 100 (Ue - Ub)/Ue [%].
    chopping_us : Value
        Tc, from the virtual origin to the chopping [µs].
    marks : Marks or None
        For the picture.
    remarks : tuple of str
        What was odd.
    """

    recorded: Recorded
    base: BaseCurve | None
    curve_kv: Samples
    test_voltage_kv: Value
    front_us: Value
    half_value_us: Value
    overshoot_pct: Value
    chopping_us: Value
    marks: Marks | None
    remarks: tuple[str, ...]

    @property
    def is_chopped(self) -> bool:
        """Whether the voltage collapsed."""
        return self.recorded.chopped is not None

    @property
    def polarity(self) -> str:
        """``positive`` or ``negative``."""
        return "positive" if self.recorded.sign > 0 else "negative"


def evaluate_impulse(time_s: Samples, voltage_kv: Samples) -> Impulse:
    """Return the parameters of one recorded impulse.

    Parameters
    ----------
    time_s : ndarray (n,)
        Rising times [s].
    voltage_kv : ndarray (n,)
        Samples as recorded, either polarity [kV].

    Returns
    -------
    Impulse
        Frozen.

    Raises
    ------
    NoImpulse
        The record shows no impulse that can be evaluated.

    Notes
    -----
    Base level, extreme, base curve, residual, filter and test-voltage curve follow annex B in its order. The extreme
    of a noisy record would be the greatest noise, so the residual is averaged over ±0.1 µs there, and what the search
    for a maximum adds is taken off. Where a fit fails the parameters that need it have no value and say so. Of an
    impulse chopped on the tail the part before the chopping is evaluated in the same way; of one chopped on the front
    the test voltage is the extreme, and the test-voltage function is not applied.

    References
    ----------
    IEC 60060-1:2010 clause 7, annexes B and C, from memory; steps and constant of the filter confirmed by published
    papers.
    """
    recorded = prepare(time_s, voltage_kv)
    if not is_sampled_finely(recorded.interval_us):
        raise NoImpulse(f"The samples are {recorded.interval_us:.3g} µs apart, too far for a lightning impulse.")
    if recorded.chopped is not None:
        return _chopped(recorded, recorded.chopped)
    try:
        return _fitted(recorded)
    except NoFit as fault:
        return _without_base(recorded, f"The base curve could not be fitted: {fault}")


def _fitted(recorded: Recorded) -> Impulse:
    base, window_us = _fit(recorded)
    of_base = base.wave.at(recorded.time_us)
    residual = recorded.values_kv - of_base
    curve = of_base + filtered(residual, recorded.interval_us)
    around = crest_of(recorded, of_base, residual)
    stepped = stepped_curves(recorded, base, window_us, residual, around)
    recorded = with_steps(recorded, stepped)
    noise = CurveNoise(recorded.lasting_kv, recorded.interval_us, base, window_us)
    return _full(recorded, base, curve, around, noise, stepped)


def _fit(recorded: Recorded) -> tuple[BaseCurve, tuple[float, float]]:
    values, crest, extreme = recorded.values_kv, recorded.crest, recorded.extreme_kv
    below = np.flatnonzero(values[:crest] < LOW * extreme)
    above = np.flatnonzero(values[crest:] > HIGH * extreme)
    first, last = (int(below[-1]) + 1 if len(below) else 0), crest + int(above[-1])
    window = slice(first, last + 1)
    base = fit_base_curve(recorded.time_us[window], values[window], recorded.interval_us, crest=crest - first)
    if base.residual_kv > _WORST_RESIDUAL * extreme:
        share = 100 * base.residual_kv / extreme
        raise NoFit(f"the best double exponential leaves {share:.0f} % of the extreme.")
    return base, (float(recorded.time_us[first]), float(recorded.time_us[last]))


def _full(
    recorded: Recorded,
    base: BaseCurve,
    curve: Samples,
    around: Crest,
    noise: CurveNoise,
    stepped: SteppedCurves | None,
) -> Impulse:
    at_us, top = maximum(recorded.time_us, curve)
    crest = int(curve.argmax())
    levels = [front_crossing(recorded.time_us, curve, share * top, crest) for share in (0.3, 0.9)]
    half = tail_crossing(recorded.time_us, curve, 0.5 * top, crest)
    along = np.zeros(1)
    if half is not None and recorded.noise_kv > QUIET * recorded.extreme_kv:
        half, along = settled(recorded.time_us, curve, 0.5 * top, half, _TAIL_SHARE * (half.time_us - at_us))
    points = np.array([at_us, *(one.time_us if one else at_us for one in levels)])
    points = np.concatenate([points, (half.time_us if half else at_us) + along])
    reading = np.zeros((4, len(points)))  # the curve at crest, t30, t90, t50 from its errors at the points
    reading[:3, :3], reading[3, 3:] = np.eye(3), weights_at_centre(along)
    drawn = None if stepped is None else stepped.at(points)
    of_curve = Spread(noise.covariance(points) + _of_base_line(recorded, points), drawn).through(reading)
    of_curve = of_curve.beside(recorded.rounding_kv, None if stepped is None else stepped.of_top())
    shares = (0.3, 0.9, 0.5)
    # Rows: errors of t30, t90, t50 [µs] by the errors of the curve at crest, t30, t90, t50 [kV].
    by_curve = np.zeros((3, 4))
    for row, (crossing, share) in enumerate(zip((*levels, half), shares, strict=True)):
        if crossing is not None and crossing.slope:
            by_curve[row, [0, row + 1]] = np.array([share, -1.0]) / crossing.slope
    of_times = of_curve.through(by_curve)
    front, marks = _front(recorded, levels, of_times)
    tail, marks = _tail(recorded, half, marks, of_times)
    return Impulse(
        recorded,
        base,
        curve,
        of_curve.known(top, np.array([1.0, 0.0, 0.0, 0.0]), noise.of_search()),
        front,
        tail,
        overshoot_of(recorded, base, around, noise, stepped),
        Value(None, words="The impulse was not chopped."),
        marks,
        recorded.remarks,
    )


def _of_base_line(recorded: Recorded, time_us: Samples) -> NDArray[np.float64]:
    """Return the covariance [kV²] of the base level's errors at times [µs] (n,): its mean, and the drift taken off."""
    away = time_us - recorded.flat_centre_us
    return recorded.base_uncertainty_kv**2 + recorded.drift_uncertainty_kv_per_us**2 * np.outer(away, away)


_NO_FRONT = "The front has too few samples between 30 % and 90 % of the test voltage; a higher sampling rate is needed."


def _front(recorded: Recorded, levels: list[Crossing | None], of_times: Spread) -> tuple[Value, Marks | None]:
    t30, t90 = levels
    if t30 is None or t90 is None or t90.time_us - t30.time_us < (_LEAST_ON_FRONT - 1) * recorded.interval_us:
        return Value(None, words=_NO_FRONT), None
    front = (t90.time_us - t30.time_us) / 0.6
    weights = np.array([-1.0, 1.0, 0.0]) / 0.6
    return of_times.known(front, weights), Marks(t30.time_us, t90.time_us, t30.time_us - 0.3 * front)


def _tail(
    recorded: Recorded,
    half: Crossing | None,
    marks: Marks | None,
    of_times: Spread,
) -> tuple[Value, Marks | None]:
    if half is None:
        last = float(recorded.values_kv[-1]) / recorded.extreme_kv
        words = f"The record ends at {100 * last:.0f} % of the extreme, before the voltage has fallen to half."
        return Value(None, words=words), marks
    if marks is None:
        return Value(None, words=_NO_FRONT), None
    weights = np.array([-1.5, 0.5, 1.0])  # T2 = t50 - O1, O1 = 1.5 t30 - 0.5 t90
    return of_times.known(half.time_us - marks.origin_us, weights), replace(marks, t50_us=half.time_us)


def _plain_front(recorded: Recorded, top: float) -> tuple[Value, Marks | None]:
    """Return T1 of the recorded curve itself."""
    levels = [front_crossing(recorded.time_us, recorded.values_kv, share * top, recorded.crest) for share in (0.3, 0.9)]
    errors = [recorded.noise_kv / one.slope if one and one.slope else 0.0 for one in levels]
    return _front(recorded, levels, Spread(np.diag([*np.square(errors), 0.0])))


def _chopped(recorded: Recorded, last: int) -> Impulse:
    """Return a chopped impulse: chopped on the tail by its part before the chopping, on the front by its extreme."""
    before = _before_chopping(recorded, last)
    if before is not None:
        rest = recorded.values_kv[last + 1 :]
        base, curve, front, marks = before.base, np.concatenate([before.curve_kv, rest]), before.front_us, before.marks
        top = before.test_voltage_kv
    else:
        around = crest_of(recorded, np.zeros_like(recorded.values_kv), recorded.values_kv)
        extreme, u_extreme = extreme_of(recorded, around)
        top = Value(extreme, math.hypot(u_extreme, recorded.base_uncertainty_kv))
        base, curve, (front, marks) = None, recorded.values_kv, _plain_front(recorded, extreme)
    if marks is None:
        chopping = Value(None, words=_NO_FRONT)
    else:
        u_origin = front.standard_uncertainty  # O1 = 1.5 t30 - 0.5 t90: no less certain than T1
        instant = _instant_of_chopping(recorded)
        chopping = Value(instant - marks.origin_us, math.hypot(recorded.interval_us / math.sqrt(3), u_origin))
    none = Value(None, words="The impulse was chopped.")
    return Impulse(recorded, base, curve, top, front, none, none, chopping, marks, recorded.remarks)


def _before_chopping(recorded: Recorded, last: int) -> Impulse | None:
    """Return what the part before the chopping says by its own base curve; None where it ends too near the crest."""
    if recorded.time_us[last] - recorded.time_us[recorded.crest] < _LEAST_TAIL_US:
        return None
    part = slice(0, last + 1)
    try:
        return _fitted(replace(recorded, time_us=recorded.time_us[part], values_kv=recorded.values_kv[part]))
    except NoFit:
        return None


def _instant_of_chopping(recorded: Recorded) -> float:
    """Return the time [µs] at which the line through 70 % and 10 % of the collapse meets the voltage before it."""
    assert recorded.chopped is not None
    before = float(recorded.values_kv[recorded.chopped])
    after = recorded.values_kv[recorded.chopped :]
    times = recorded.time_us[recorded.chopped :]
    under = [np.flatnonzero(after < share * before) for share in (0.7, 0.1)]
    if not all(len(places) for places in under):
        return float(times[0])
    t70, t10 = (
        float(np.interp(-share * before, -after[places[0] - 1 : places[0] + 1], times[places[0] - 1 : places[0] + 1]))
        for places, share in zip(under, (0.7, 0.1), strict=True)
    )
    return max(t70 - 0.5 * (t10 - t70), float(times[0]) - recorded.interval_us)


def _without_base(recorded: Recorded, why: str) -> Impulse:
    none = Value(None, words=why)
    return Impulse(recorded, None, recorded.values_kv, none, none, none, none, none, None, (*recorded.remarks, why))
