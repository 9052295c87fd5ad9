"""Cooling curves: hot resistance back to the moment of shutdown, with the models compared and their spread told."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import optimize

from equipment.metrology.serial import counted, freedom_of, likeness
from records.readers.recording import Samples
from records.readers.wanted import WANTED_BY_KIND

LEAST_READINGS = WANTED_BY_KIND["temperature_rise"].min_rows
_MOST_COUNTED = 600  # readings whose correlations are reckoned with one by one
_CLEARLY, _COARSER = 0.5, 2.0  # sum of correlations that speaks of interpolation, and between readings how far apart
_WAVES = math.sqrt(0.2)  # of x (1 - x) between two readings: standard deviation by mean, √(1/180) by 1/6
_GRID = 36  # time constants tried before the search narrows
_SHORTEST_SHARE, _LONGEST_SHARE = 0.01, 1.0  # of the length of the record: beyond, a time constant is not told by it
_SLOW_SHARE = 2.0  # the slow time constant of the third model, as a multiple of the length of the record

EXPONENTIAL = "exponential"
WITH_DRIFT = "exponential_with_drift"
WITH_SLOW = "exponential_with_slow_exponential"
IN_WORDS: Mapping[str, str] = {
    EXPONENTIAL: "one exponential",
    WITH_DRIFT: "an exponential with a straight fall of the surroundings",
    WITH_SLOW: "an exponential with a slow exponential fall of the surroundings",
}


class CoolingNotTold(ValueError):
    """The readings do not tell the resistance at shutdown; the message says why."""


@dataclass(frozen=True)
class CoolingFit:
    """One model fitted to a cooling curve.

    Attributes
    ----------
    model : str
        ``exponential``: R = a + b exp(−t/τ); ``exponential_with_drift``: the same + c t/T;
        ``exponential_with_slow_exponential``: the same + c (1 − exp(−t/2T)), T being the last time after shutdown.
    resistance_ohm : float
        At shutdown, a + b [Ω].
    standard_uncertainty_ohm : float
        Of it, from the covariance of the fit [Ω].
    degrees_of_freedom : float
        Readings less parameters, fewer where neighbouring residuals are alike.
    time_constant_s : float
        τ [s].
    parameters : ndarray (3,) or (4,)
        a, b [Ω], τ [s] and, where the model has it, c [Ω].
    covariance : ndarray (p, p)
        Of the parameters in the same order.
    residual_deviation_ohm : float
        √(Σ r²/(n − p)) [Ω].
    information : float
        Akaike's criterion with the correction for few readings, dimensionless; less is better, by differences only.
    last_s : float
        T, the last reading's time after shutdown [s].
    """

    model: str
    resistance_ohm: float
    standard_uncertainty_ohm: float
    degrees_of_freedom: float
    time_constant_s: float
    parameters: NDArray[np.float64]
    covariance: NDArray[np.float64]
    residual_deviation_ohm: float
    information: float
    last_s: float

    def at(self, after_s: Samples) -> Samples:
        """Return the fitted resistance [Ω] at times after shutdown [s], shape (n,)."""
        level, fall, tau = self.parameters[:3]
        curve: Samples = level + fall * np.exp(-after_s / tau)
        if len(self.parameters) == 4:
            curve = curve + self.parameters[3] * _slow(self.model, after_s, self.last_s)
        return curve


@dataclass(frozen=True)
class Cooling:
    """All models of one cooling curve; `chosen` is the one with the surroundings falling in a straight line.

    Attributes
    ----------
    chosen : CoolingFit
        Whose resistance counts.
    others : tuple of CoolingFit
        For comparison.
    spread_ohm : float
        Half the distance between the two models with falling surroundings [Ω]: what the choice between them is worth.
    """

    chosen: CoolingFit
    others: tuple[CoolingFit, ...]
    spread_ohm: float

    @property
    def single(self) -> CoolingFit | None:
        """The single exponential, or None where it could not be fitted."""
        return next((fit for fit in self.others if fit.model == EXPONENTIAL), None)


def _slow(model: str, after_s: Samples, last_s: float) -> Samples:
    if model == WITH_DRIFT:
        return after_s / last_s
    answer: Samples = -np.expm1(-after_s / (_SLOW_SHARE * last_s))
    return answer


def _columns(model: str, after_s: Samples, tau: float, last_s: float) -> NDArray[np.float64]:
    columns = [np.ones_like(after_s), np.exp(-after_s / tau)]
    if model != EXPONENTIAL:
        columns.append(_slow(model, after_s, last_s))
    return np.column_stack(columns)


def _left_over(model: str, after_s: Samples, values: Samples, tau: float, last_s: float) -> float:
    """Return the sum of squares that the best linear parameters leave for one time constant."""
    basis, _ = np.linalg.qr(_columns(model, after_s, tau, last_s))
    residual = values - basis @ (basis.T @ values)
    return float(residual @ residual)


def _best_tau(model: str, after_s: Samples, values: Samples, last_s: float) -> float:
    taus = last_s * np.geomspace(_SHORTEST_SHARE, _LONGEST_SHARE, _GRID)
    squares = [_left_over(model, after_s, values, tau, last_s) for tau in taus]
    best = int(np.argmin(squares))
    if best in (0, _GRID - 1):
        which = "shorter than a hundredth of" if best == 0 else "longer than"
        raise CoolingNotTold(
            f"The cooling would have a time constant {which} the {last_s:.4g} s that were recorded after shutdown, so "
            "the readings do not tell it apart from the slow fall of the surroundings."
        )
    found = optimize.minimize_scalar(
        lambda x: _left_over(model, after_s, values, math.exp(x), last_s),
        bounds=(math.log(taus[best - 1]), math.log(taus[best + 1])),
        method="bounded",
        options={"xatol": 1e-7},
    )
    return math.exp(float(found.x))


def fit_cooling(after_s: Samples, resistance_ohm: Samples, model: str = WITH_DRIFT) -> CoolingFit:
    """Fit one model of cooling and read it at the moment of shutdown.

    For each time constant the other parameters follow by linear least squares; the time constant is searched on a
    grid and then narrowed (variable projection). The covariance comes from the derivatives by all parameters, columns
    scaled, by singular values.

    Parameters
    ----------
    after_s : ndarray (n,)
        Times after shutdown, rising, not below 0 [s]; n at least 6.
    resistance_ohm : ndarray (n,)
        Finite [Ω].
    model : str
        See `CoolingFit`.

    Returns
    -------
    CoolingFit
        Frozen.

    Raises
    ------
    CoolingNotTold
        Too few readings, no fall, or a time constant that the record is too short or too coarse to tell.

    Notes
    -----
    Noise is taken as of one size; where it is alike from reading to reading, as in a record that was interpolated to
    another rate, it counts as fewer readings, by the `likeness` of the residuals, and what straight lines across the
    curve's bend would do at shutdown counts too. A record that shows the readings it was interpolated from is better
    brought back to them first (`records.evaluation.knots`). Where the surroundings of the
    winding (tank, core, air in the housing) cool slowly too, one exponential alone bends to follow them and reads too
    low at shutdown.

    References
    ----------
    IEC 60076-2, annex on extrapolation (idea, from memory); variable projection: common practice, no source.

    Examples
    --------
    >>> t = np.arange(10.0, 1200.0, 10.0)
    >>> round(fit_cooling(t, 0.4 + 0.1 * np.exp(-t / 300) - 1e-5 * t).resistance_ohm, 9)
    0.5
    """
    if len(after_s) < LEAST_READINGS:
        raise CoolingNotTold(f"There are {len(after_s)} readings after shutdown; at least {LEAST_READINGS} are needed.")
    last_s = float(after_s[-1])
    centre = float(resistance_ohm.mean())
    scale = float(np.ptp(resistance_ohm))
    if scale <= 1e-12 * abs(centre):
        raise CoolingNotTold("The resistance does not change: the record shows no cooling.")
    values = (resistance_ohm - centre) / scale
    tau = _best_tau(model, after_s, values, last_s)
    columns = _columns(model, after_s, tau, last_s)
    linear = np.linalg.lstsq(columns, values, rcond=None)[0]
    residual = values - columns @ linear
    by_tau = linear[1] * columns[:, 1] * after_s / tau  # derivative by ln τ
    jacobian = np.column_stack([columns[:, :2], by_tau, columns[:, 2:]])
    count, squares = jacobian.shape[1], float(residual @ residual)
    bend = linear[1] * columns[:, 1] / tau**2
    covariance, u, freedom = _known(
        jacobian, residual, (_COARSER * float(np.median(np.diff(after_s)))) ** 2 / 12 * bend
    )
    if linear[1] <= 0:
        raise CoolingNotTold("The resistance rises after shutdown instead of falling: the record shows no cooling.")
    to_own = np.array([scale, scale, tau, *([scale] * (count - 3))])
    parameters = np.array([centre + scale * linear[0], scale * linear[1], tau, *(scale * linear[2:])])
    return CoolingFit(
        model,
        float(parameters[0] + parameters[1]),
        scale * u,
        freedom,
        tau,
        parameters,
        covariance * np.outer(to_own, to_own),
        scale * math.sqrt(squares / (len(values) - count)),
        _information(squares, len(values), count),
        last_s,
    )


def _known(jacobian: NDArray[np.float64], residual: Samples, over: Samples) -> tuple[NDArray[np.float64], float, float]:
    """Return covariance of the parameters, standard uncertainty of the value at shutdown and its degrees of freedom.

    `over` is by how much straight lines between readings twice as far apart would lie above the curve on average,
    h²/12 times its second derivative; it counts where clearly alike residuals speak of such lines.
    """
    readings, count = jacobian.shape
    squares, alike = float(residual @ residual), likeness(residual, count)
    freedom = freedom_of(readings, count, 1 + 2 * float(alike.sum()))
    covariance = squares / freedom * _inverse_normal(jacobian)
    at_shutdown = np.zeros(count)
    at_shutdown[:2] = 1.0
    variance = max(0.0, float(at_shutdown @ covariance @ at_shutdown))
    if len(alike) and readings <= _MOST_COUNTED:
        share, freedom = counted(jacobian, at_shutdown, alike)
        variance = share * squares
    if 2 * float(alike.sum()) > _CLEARLY:
        # Such lines lie above the curve in waves, and residuals smaller than those waves speak against them.
        waves = _WAVES * float(np.sqrt(np.mean(over**2)))
        share = min(1.0, math.sqrt(squares / readings) / waves) if waves else 0.0
        variance += (share * float(at_shutdown @ np.linalg.lstsq(jacobian, over, rcond=None)[0])) ** 2
    return covariance, math.sqrt(variance), freedom


def _inverse_normal(jacobian: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return (JᵀJ)⁻¹ by singular values of J with its columns scaled to one length."""
    lengths = np.linalg.norm(jacobian, axis=0)
    _, singular, right = np.linalg.svd(jacobian / lengths, full_matrices=False)
    if singular[-1] < 1e-10 * singular[0]:
        raise CoolingNotTold("The readings do not tell the parameters of the cooling apart.")
    scaled = right.T / singular
    inverse: NDArray[np.float64] = scaled @ scaled.T / np.outer(lengths, lengths)
    return inverse


def _information(squares: float, readings: int, parameters: int) -> float:
    count = parameters + 1  # the scatter is a parameter too
    penalty = 2 * count + (2 * count * (count + 1) / (readings - count - 1) if readings > count + 1 else math.inf)
    return readings * math.log(max(squares / readings, 1e-300)) + penalty


def compare_models(after_s: Samples, resistance_ohm: Samples) -> Cooling:
    """Fit every model of cooling and say what the choice between them is worth.

    Parameters
    ----------
    after_s, resistance_ohm : ndarray (n,)
        As `fit_cooling` takes them.

    Returns
    -------
    Cooling
        Chosen is always the exponential with a straight fall of the surroundings: it contains the single exponential,
        so nothing is lost where the surroundings keep still, and choosing by the data would make the stated
        uncertainty too small.

    Raises
    ------
    CoolingNotTold
        The chosen model cannot be fitted.

    References
    ----------
    That one exponential alone reads 0.4 to 1.0 K low: measured on constructed curves, no published source.
    """
    chosen = fit_cooling(after_s, resistance_ohm, WITH_DRIFT)
    others = []
    for model in (EXPONENTIAL, WITH_SLOW):
        try:
            others.append(fit_cooling(after_s, resistance_ohm, model))
        except CoolingNotTold:
            continue
    # Counted even where the readings prefer one of the two: the truth may lie between them.
    slow = [abs(fit.resistance_ohm - chosen.resistance_ohm) / 2 for fit in others if fit.model == WITH_SLOW]
    return Cooling(chosen, tuple(others), max(slow, default=0.0))
