"""How reliable a fleet of instruments is: the part found in tolerance, with what so few of them can say."""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy.stats import beta


@dataclass(frozen=True)
class Reliability:
    """Part found in tolerance, dimensionless, with the ends of its confidence interval."""

    in_tolerance: int
    total: int
    part: float
    low: float
    high: float

    def reaches(self, target: float) -> bool | None:
        """Tell whether the target is reached; None where the interval holds it, so that nobody can tell yet."""
        if self.low > target:
            return True
        return False if self.high < target else None


def reliability(in_tolerance: int, total: int, *, confidence: float = 0.9) -> Reliability:
    """Return the observed reliability with its exact two-sided interval (Clopper and Pearson).

    Parameters
    ----------
    in_tolerance, total : int
        Calibrations that found the instrument in tolerance, and all that say how they found it; total at least 1.
    confidence : float
        Above 0 and below 1, dimensionless.

    Returns
    -------
    Reliability
        Frozen.

    Raises
    ------
    ValueError
        The counts or the confidence cannot be.

    References
    ----------
    C. J. Clopper and E. S. Pearson, Biometrika 26 (1934) (from memory): ends are quantiles of beta distributions.

    Examples
    --------
    >>> found = reliability(10, 10)
    >>> round(found.low, 4), found.high
    (0.7411, 1.0)
    """
    if not (0 <= in_tolerance <= total and total >= 1):
        raise ValueError("Between none and all of at least one calibration can be in tolerance.")
    if not 0 < confidence < 1:
        raise ValueError("The confidence must lie between 0 and 1.")
    tail = (1 - confidence) / 2
    low = 0.0 if in_tolerance == 0 else float(beta.ppf(tail, in_tolerance, total - in_tolerance + 1))
    high = 1.0 if in_tolerance == total else float(beta.ppf(1 - tail, in_tolerance + 1, total - in_tolerance))
    part = in_tolerance / total
    if not (math.isfinite(low) and math.isfinite(high)):
        raise ValueError("The interval cannot be computed.")
    return Reliability(in_tolerance, total, part, low, high)
