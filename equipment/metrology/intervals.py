"""Calibration intervals: how long until the next one, from what the last ones found."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .lines import Line, fit_line
from .propagation import coverage_factor


def shortening_factor(extension: float, target_reliability: float) -> float:
    """Return b of the simple response method: the part by which an interval is cut after an out-of-tolerance finding.

    b = 1 − (1 + a)^(−R/(1 − R)), from the steady state (1 + a)^R (1 − b)^(1 − R) = 1.

    Parameters
    ----------
    extension : float
        a, the part by which it grows after an in-tolerance finding, above 0, dimensionless.
    target_reliability : float
        R, the wanted part of in-tolerance findings, between 0 and 1, dimensionless.

    Returns
    -------
    float
        b, between 0 and 1, dimensionless.

    Raises
    ------
    ValueError
        a or R lies outside.

    References
    ----------
    A national laboratory's recommended practice for calibration intervals, simple response (roles of a and b read, the
    formula derived from the steady state).

    Examples
    --------
    >>> round(shortening_factor(0.1, 0.95), 4)
    0.8365
    """
    if not (math.isfinite(extension) and extension > 0):
        raise ValueError("The extension must be a finite number above 0.")
    if not 0 < target_reliability < 1:
        raise ValueError("The target reliability must lie between 0 and 1.")
    return -math.expm1(-target_reliability / (1 - target_reliability) * math.log1p(extension))


def simple_response(
    interval_days: float,
    *,
    was_in_tolerance: bool,
    extension: float = 0.1,
    target_reliability: float = 0.95,
    shortest_days: float = 30.0,
    longest_days: float = 1826.0,
) -> float:
    """Return the next interval by simple response: I (1 + a) when found in tolerance, I (1 − b) when not.

    Parameters
    ----------
    interval_days : float
        I, the interval that ended [d].
    was_in_tolerance : bool
        As found.
    extension, target_reliability : float
        a and R of `shortening_factor`.
    shortest_days, longest_days : float
        Bounds of the answer [d].

    Returns
    -------
    float
        Next interval [d], not rounded.

    Raises
    ------
    ValueError
        The interval is not above 0, the bounds cross, or a or R lies outside.

    References
    ----------
    As `shortening_factor`. Default bounds of 30 days and five years: common practice, no source.

    Examples
    --------
    >>> round(simple_response(365, was_in_tolerance=True), 1)
    401.5
    """
    if not (math.isfinite(interval_days) and interval_days > 0):
        raise ValueError("The interval must be a finite number above 0.")
    if not 0 < shortest_days <= longest_days:
        raise ValueError("The shortest interval must be above 0 and at most the longest.")
    cut = shortening_factor(extension, target_reliability)
    answer = interval_days * (1 + extension if was_in_tolerance else 1 - cut)
    return min(max(answer, shortest_days), longest_days)


@dataclass(frozen=True)
class Drift:
    """A fitted drift and the first day on which the error, with its uncertainty, may reach a limit.

    Attributes
    ----------
    line : Line
        Error against days.
    reaches_limit_at_days : float or None
        On the axis of the days given [d]; None where it stays inside until the horizon.
    latest_days : float
        Day of the last calibration [d].
    """

    line: Line
    reaches_limit_at_days: float | None
    latest_days: float

    def band(self, day: float, coverage_probability: float = 0.95) -> tuple[float, float]:
        """Return the lower and upper end of the error on a day [unit of the error], from the uncertainty of the line.

        Raises ValueError where the day is not finite or the probability lies outside 0 to 1.
        """
        at = self.line.at(day)
        reach = coverage_factor(coverage_probability, self.line.degrees_of_freedom) * at.standard_uncertainty
        return at.value - reach, at.value + reach


def drift_to_limit(
    days: Sequence[float],
    errors: Sequence[float],
    *,
    limit: float,
    expanded_uncertainty: float,
    horizon_days: float = 3652.0,
) -> Drift:
    """Fit the drift of an instrument and predict when its error ± U reaches the permissible error.

    The error is a + b t by least squares; the limit counts as reached when |a + b t| + √(U² + U_line²) ≥ limit, with
    U_line at 95 % from the scatter of the fit.

    Parameters
    ----------
    days : sequence of float, shape (n,)
        Days of the calibrations from any origin, at least 3 [d].
    errors : sequence of float, shape (n,)
        Errors as found, with no adjustment in between [unit of the limit].
    limit : float
        Largest permissible error, symmetric, above 0.
    expanded_uncertainty : float
        U of a calibration, at least 0 [unit of the limit].
    horizon_days : float
        How far after the last calibration to look, above 0 [d].

    Returns
    -------
    Drift
        `Drift.reaches_limit_at_days` is the last calibration's day where the limit is reached already.

    Raises
    ------
    ValueError
        Fewer than 3 points, numbers that are not finite, or a limit, U or horizon out of range.

    Notes
    -----
    After an adjustment the series starts anew: give only the calibrations since. Three points say little, and U_line
    shows it.

    References
    ----------
    ILAC-G24 / OIML D 10:2022, control-chart method (idea, from memory); the band: common practice, no source.

    Examples
    --------
    >>> drift_to_limit([0, 100, 200], [0, 1, 2], limit=5, expanded_uncertainty=1).reaches_limit_at_days
    400.0
    """
    if not (math.isfinite(limit) and limit > 0):
        raise ValueError("The permissible error must be a finite number above 0.")
    if not (math.isfinite(expanded_uncertainty) and expanded_uncertainty >= 0):
        raise ValueError("The expanded uncertainty must be a finite number, at least 0.")
    if not (math.isfinite(horizon_days) and horizon_days > 0):
        raise ValueError("The horizon must be a finite number above 0.")
    line = fit_line(days, errors)
    latest = line.x_max
    factor = coverage_factor(0.95, line.degrees_of_freedom)

    def room(day: float) -> float:
        at = line.at(day)
        return limit - abs(at.value) - math.hypot(expanded_uncertainty, factor * at.standard_uncertainty)

    # Half-day steps bracket the first crossing, halving then finds it.
    steps = np.linspace(latest, latest + horizon_days, 2 * math.ceil(horizon_days) + 1)
    crossed = next((n for n, day in enumerate(steps) if room(float(day)) <= 0), None)
    if crossed is None or crossed == 0:
        return Drift(line, None if crossed is None else latest, latest)
    low, high = float(steps[crossed - 1]), float(steps[crossed])
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (low, middle) if room(middle) <= 0 else (middle, high)
    return Drift(line, high, latest)
