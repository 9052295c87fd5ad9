"""A value and its uncertainty as text: the uncertainty to two significant digits, the value to the same place."""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_HALF_EVEN, ROUND_HALF_UP, Decimal

_ROUND_UP_ABOVE = Decimal("0.05")


@dataclass(frozen=True)
class Rounded:
    """Plain decimal texts (no exponent, no thousands mark, decimal point) and the decimals (negative for tens).

    ``uncertainty_text`` is empty where no uncertainty is known.
    """

    value_text: str
    uncertainty_text: str
    decimals: int


def rounded(value: float, expanded_uncertainty: float | None, *, digits: int = 2, digits_alone: int = 4) -> Rounded:
    """Round a value to its uncertainty.

    The uncertainty is rounded to the nearest with `digits` significant digits, and up instead where the nearest would
    make it smaller by more than 5 % (only one digit can do that). The value is rounded to the same decimal place, an
    exact half to the even digit.

    Parameters
    ----------
    value : float
        The result [any unit].
    expanded_uncertainty : float or None
        U in the same unit, at least 0; None or 0 leaves `digits_alone` significant digits of the value.
    digits : int
        Significant digits of U, 1 or 2.
    digits_alone : int
        Significant digits of a value without uncertainty, at least 1.

    Returns
    -------
    Rounded
        Texts and decimals.

    Raises
    ------
    ValueError
        The value or the uncertainty is not finite, U is negative, or a number of digits is out of range.

    References
    ----------
    JCGM 100:2008, 7.2.6; EA-4/02 M:2013, 6.3 (the 5 % rule); ISO 80000-1, annex B (half to even): all from memory.
    Four digits of a value alone: common practice, no source.

    Examples
    --------
    >>> rounded(10000.1780008, 0.016656)
    Rounded(value_text='10000.178', uncertainty_text='0.017', decimals=3)
    >>> rounded(123456.0, 1234.0)
    Rounded(value_text='123500', uncertainty_text='1200', decimals=-2)
    """
    if not math.isfinite(value):
        raise ValueError("A value that is not finite cannot be rounded.")
    if digits not in (1, 2) or digits_alone < 1:
        raise ValueError("Uncertainties have 1 or 2 significant digits, values alone at least 1.")
    if expanded_uncertainty is None or expanded_uncertainty == 0:
        decimals = _decimals(Decimal(repr(float(value))), digits_alone)
        alone = _round(Decimal(repr(float(value))), decimals, ROUND_HALF_EVEN)
        decimals = _decimals(alone, digits_alone)
        return Rounded(_text(alone, decimals), "" if expanded_uncertainty is None else "0", decimals)
    if not (math.isfinite(expanded_uncertainty) and expanded_uncertainty > 0):
        raise ValueError("The expanded uncertainty must be a finite number, at least 0.")
    exact = Decimal(repr(float(expanded_uncertainty)))
    decimals = _decimals(exact, digits)
    uncertainty = _round(exact, decimals, ROUND_HALF_UP)
    if exact - uncertainty > _ROUND_UP_ABOVE * exact:
        uncertainty = _round(exact, decimals, ROUND_CEILING)
    decimals = _decimals(uncertainty, digits)  # 9.96 becomes 10, which has a digit more before the point
    nearest = _round(Decimal(repr(float(value))), decimals, ROUND_HALF_EVEN)
    return Rounded(_text(nearest, decimals), _text(uncertainty, decimals), decimals)


def _decimals(number: Decimal, digits: int) -> int:
    return digits - 1 - number.adjusted() if number else digits - 1


def _round(number: Decimal, decimals: int, how: str) -> Decimal:
    # to_integral_value on a shifted number never meets the limit that quantize has on the length of its answer
    return number.scaleb(decimals).to_integral_value(rounding=how).scaleb(-decimals)


def _text(number: Decimal, decimals: int) -> str:
    return f"{abs(number) if number == 0 else number:.{max(decimals, 0)}f}"
