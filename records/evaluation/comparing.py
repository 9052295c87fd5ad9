"""One value beside earlier ones of the same unit and those of its sisters: shown to people, never a verdict."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

LEAST_SISTERS = 3
# Iglewicz and Hoaglin's modified z-score, from memory: more than 3.5 robust standard deviations from the median.
FAR = 3.5
_MAD_TO_DEVIATION = 1.4826


@dataclass(frozen=True)
class Beside:
    """One value beside those of its sisters.

    Attributes
    ----------
    value, median : float
        The value and the sisters' median [unit].
    deviation : float
        Robust standard deviation: 1.4826 times the median absolute deviation, and not less than the value's own
        standard uncertainty [unit].
    count : int
        Number of sisters.
    score : float
        Distance from the median in deviations, with its sign; infinite where nothing spreads and the value differs.
    """

    value: float
    median: float
    deviation: float
    count: int
    score: float

    @property
    def is_outlier(self) -> bool:
        """Whether the value lies more than 3.5 deviations from the median."""
        return abs(self.score) > FAR


def beside_sisters(value: float, sisters: Sequence[float], expanded_uncertainty: float | None = None) -> Beside | None:
    """Return where a value lies among those of like units, or None for fewer than three of them.

    Parameters
    ----------
    value : float
        Of this unit [unit].
    sisters : sequence of float
        Of the others [unit]; what is not finite is left out.
    expanded_uncertainty : float, optional
        U at k = 2 of the value [unit]: a spread below its half tells nothing.

    Returns
    -------
    Beside or None
        Frozen.

    Notes
    -----
    Median and median absolute deviation, so that one odd sister does not hide another: they bear up to half of the
    values being odd.

    Examples
    --------
    >>> beside_sisters(12.0, [20.0, 20.5, 19.5, 20.2, 19.8]).is_outlier
    True
    >>> beside_sisters(20.3, [20.0, 20.5, 19.5, 20.2, 19.8]).is_outlier
    False
    """
    known = np.array([one for one in sisters if math.isfinite(one)], dtype=float)
    if len(known) < LEAST_SISTERS or not math.isfinite(value):
        return None
    median = float(np.median(known))
    spread = _MAD_TO_DEVIATION * float(np.median(np.abs(known - median)))
    deviation = max(spread, (expanded_uncertainty or 0.0) / 2)
    difference = value - median
    without_spread = 0.0 if difference == 0 else math.copysign(math.inf, difference)
    score = difference / deviation if deviation > 0 else without_spread
    return Beside(value, median, deviation, len(known), score)


@dataclass(frozen=True)
class Change:
    """A value beside an earlier one of the same unit: difference [unit] and relative to the earlier one [%]."""

    difference: float
    relative_pct: float | None
    is_beyond_uncertainty: bool | None


def change_since(
    value: float,
    earlier: float,
    expanded_uncertainty: float | None = None,
    earlier_uncertainty: float | None = None,
) -> Change:
    """Return how a value changed since an earlier run.

    Parameters
    ----------
    value, earlier : float
        Now and then [unit].
    expanded_uncertainty, earlier_uncertainty : float, optional
        U at k = 2 of both [unit].

    Returns
    -------
    Change
        ``is_beyond_uncertainty`` says whether the difference exceeds the root of the sum of both squares of U; None
        where one of them is not known. Instruments that both runs share make this too careful, never too bold.

    Examples
    --------
    >>> change_since(110.0, 100.0, 3.0, 4.0)
    Change(difference=10.0, relative_pct=10.0, is_beyond_uncertainty=True)
    """
    difference = value - earlier
    relative = 100 * difference / abs(earlier) if earlier else None
    if expanded_uncertainty is None or earlier_uncertainty is None:
        return Change(difference, relative, None)
    return Change(difference, relative, abs(difference) > math.hypot(expanded_uncertainty, earlier_uncertainty))
