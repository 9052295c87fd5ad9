"""Insulation resistance while the current dies away: its value at named times, and the polarization index."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from equipment.metrology.lines import fit_line
from equipment.metrology.serial import counted, likeness
from records.evaluation.knots import readings_behind
from records.readers.recording import Samples

# Readings between t/r and r t are taken together, r the least of these that holds enough of them.
WINDOW_RATIOS = (1.25, 1.5)
_LEAST_IN_WINDOW = 4
_LEAST_FOR_LIKENESS, _SMOOTH_DEGREE = 24, 4
_CLEARLY = 0.5  # the noise of a window of few readings is not taken for alike on less
_MOST_COUNTED = 1000


class TimeNotReached(ValueError):
    """The record does not reach the time at which the resistance is asked for; the message says so."""


@dataclass(frozen=True)
class Reading:
    """Insulation resistance at one time.

    Attributes
    ----------
    at_s : float
        Time after the voltage was applied [s].
    resistance_mohm : float
        Read there [MΩ].
    relative_uncertainty : float
        Standard, from the scatter of the readings about the line, dimensionless; 0 where too few tell it.
    degrees_of_freedom : float
        Of it; infinite where it is 0.
    readings : int
        How many were taken together.
    """

    at_s: float
    resistance_mohm: float
    relative_uncertainty: float
    degrees_of_freedom: float
    readings: int


def resistance_after(time_s: Samples, resistance_mohm: Samples, at_s: float) -> Reading:
    """Return the insulation resistance at one time, interpolated in the logarithms of time and resistance.

    Between t/1.25 and 1.25 t a straight line ln R = a + b ln t is fitted to the readings and read at t; with fewer than
    four there, between t/1.5 and 1.5 t; with fewer there too, the two neighbours are joined by such a line. Of a record
    that was interpolated by straight lines the readings behind it are taken, where it shows them (`readings_behind`).

    Parameters
    ----------
    time_s : ndarray (n,)
        Times after the voltage was applied, rising [s].
    resistance_mohm : ndarray (n,)
        Above 0 [MΩ].
    at_s : float
        Time asked for, above 0 [s].

    Returns
    -------
    Reading
        Frozen.

    Raises
    ------
    TimeNotReached
        The record begins after that time or ends before it; one per cent of the time is let pass.

    Notes
    -----
    Dielectric absorption follows a power of time over decades, which is a straight line in both logarithms; over this
    narrow window its bend is far below the scatter of any meter.

    References
    ----------
    IEEE 43-2013 for the times of 1 and 10 min (from memory); absorption as a power of time: common practice, no source.

    Examples
    --------
    >>> t = np.array([15.0, 30.0, 120.0, 600.0])
    >>> round(resistance_after(t, 100 * t**0.5, 60.0).resistance_mohm, 6)
    774.596669
    """
    if not (time_s[0] <= 1.01 * at_s and time_s[-1] >= 0.99 * at_s):
        raise TimeNotReached(
            f"The record runs from {time_s[0]:.4g} to {time_s[-1]:.4g} s; the value at {at_s:.4g} s is not in it."
        )
    behind = readings_behind(time_s, resistance_mohm)
    for ratio in WINDOW_RATIOS:
        near = (behind.time_s >= at_s / ratio) & (behind.time_s <= at_s * ratio)
        if int(near.sum()) >= _LEAST_IN_WINDOW:
            alike = _alike(behind.time_s, behind.values)
            return _by_line(behind.time_s[near], behind.values[near], at_s, alike)
    after = int(np.clip(np.searchsorted(time_s, at_s), 1, len(time_s) - 1))
    pair = slice(after - 1, after + 1)
    positive = np.maximum(time_s[pair], 1e-9)
    level = float(np.interp(math.log(at_s), np.log(positive), np.log(resistance_mohm[pair])))
    return Reading(at_s, math.exp(level), 0.0, math.inf, 2)


def _by_line(time_s: Samples, resistance_mohm: Samples, at_s: float, alike: Samples) -> Reading:
    x, y = np.log(time_s), np.log(resistance_mohm)
    line = fit_line(x, y)
    told = line.at(math.log(at_s))
    if not len(alike) or len(x) > _MOST_COUNTED:
        u, freedom = told.standard_uncertainty, float(line.degrees_of_freedom)
    else:
        columns = np.column_stack([np.ones_like(x), x - math.log(at_s)])
        share, freedom = counted(columns, np.array([1.0, 0.0]), alike)
        u = math.sqrt(share * line.degrees_of_freedom) * line.residual_deviation
    return Reading(at_s, math.exp(told.value), u, freedom, len(time_s))


def _alike(time_s: Samples, resistance_mohm: Samples) -> Samples:
    """Return the correlations of neighbouring readings, from the whole record about a smooth curve in logarithms."""
    later = time_s > 0
    if int(later.sum()) < _LEAST_FOR_LIKENESS:
        return np.empty(0)
    x, y = np.log(time_s[later]), np.log(resistance_mohm[later])
    x = (x - x.mean()) / max(float(np.ptp(x)), 1e-12)
    found = likeness(y - np.polyval(np.polyfit(x, y, _SMOOTH_DEGREE), x), _SMOOTH_DEGREE + 1)
    return found if 2 * found.sum() > _CLEARLY else np.empty(0)


def correction_by_halving(temperature_c: float, reference_c: float, halving_k: float = 10.0) -> float:
    """Return the factor that brings an insulation resistance to another temperature by the rule of halving.

    K = 2^((θ − θ_ref)/h): each h kelvin more halve the resistance.

    Parameters
    ----------
    temperature_c : float
        θ, of the insulation when measured [°C].
    reference_c : float
        θ_ref [°C].
    halving_k : float
        h, above 0 [K].

    Returns
    -------
    float
        K, dimensionless, by which the measured resistance is multiplied.

    Raises
    ------
    ValueError
        h is not above 0, or a temperature is not finite.

    Notes
    -----
    A rule of thumb and no law: materials differ widely, and the further the correction the less it says.

    References
    ----------
    Common practice; the form as in IEEE 43-2013, R40 = K R (from memory).

    Examples
    --------
    >>> round(correction_by_halving(25.0, 40.0), 6)
    0.353553
    """
    if not halving_k > 0:
        raise ValueError("The temperature step of the rule must be above 0.")
    if not (math.isfinite(temperature_c) and math.isfinite(reference_c)):
        raise ValueError("Temperatures must be finite.")
    return float(2.0 ** ((temperature_c - reference_c) / halving_k))


def without_leakage(measured_mohm: float, leakage_mohm: float) -> float:
    """Return the unit's own insulation resistance, the set-up's leakage beside it taken out.

    1/R = 1/R_m − 1/R_s, the set-up alone having R_s.

    Parameters
    ----------
    measured_mohm : float
        R_m, unit and set-up together, above 0 [MΩ].
    leakage_mohm : float
        R_s, the set-up without the unit, above R_m [MΩ].

    Returns
    -------
    float
        R [MΩ].

    Raises
    ------
    ValueError
        The set-up alone leaks as much as both together, so that the unit's part is not told.

    Examples
    --------
    >>> round(without_leakage(900.0, 9000.0), 9)
    1000.0
    """
    if not 0 < measured_mohm < leakage_mohm:
        raise ValueError(
            f"The set-up alone has {leakage_mohm:.4g} MΩ and with the unit {measured_mohm:.4g} MΩ: what the unit "
            "contributes is not told."
        )
    return measured_mohm * leakage_mohm / (leakage_mohm - measured_mohm)
