"""Rounds levels upward: the exact value is kept, the applied one lies at or above it."""

from __future__ import annotations

from decimal import ROUND_CEILING, Decimal

_NOISE = Decimal("1e-9")


def rounded_up(value: float, step: float) -> float:
    """Return the smallest multiple of a step at or above a value.

    Parameters
    ----------
    value : float
        The exact value [unit of the value].
    step : float
        The step, above zero [same unit].

    Returns
    -------
    float
        The multiple, at or above the value but for the noise of binary fractions (1e-9 of the step).

    References
    ----------
    Common practice, no source: an exact 10.739 kV reads 10.74 kV, which the floor sets as 10.75 kV.

    Examples
    --------
    >>> rounded_up(10.7387, 0.01), rounded_up(10.74, 0.05), rounded_up(1.3 * 13.8, 0.01)
    (10.74, 10.75, 17.94)
    """
    exact_step = Decimal(str(step))
    steps = (Decimal(repr(value)) / exact_step - _NOISE).to_integral_value(rounding=ROUND_CEILING)
    return float(steps * exact_step)


def set_point(level: float, floor_step: float, tolerance_pct: float) -> float:
    """Return what the floor sets for a level: rounded up to the floor's step where that stays inside the tolerance.

    Parameters
    ----------
    level : float
        The planned level [kV].
    floor_step : float
        The step that the floor can set [kV].
    tolerance_pct : float
        Tolerance of the stage [%].

    Returns
    -------
    float
        A set point at or above the level and at most half the tolerance above it; else the level itself [kV].

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> set_point(10.74, 0.05, 3.0), set_point(0.51, 0.05, 1.0)
    (10.75, 0.51)
    """
    point = rounded_up(level, floor_step)
    return point if point <= level * (1 + tolerance_pct / 200) else level
