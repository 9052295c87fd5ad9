"""Comparison of a laboratory's result with a reference value."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class EnScore:
    """``score`` is dimensionless; ``is_satisfactory`` where its magnitude is at most 1."""

    score: float
    is_satisfactory: bool


def en_score(
    value: float, expanded_uncertainty: float, reference: float, reference_expanded_uncertainty: float
) -> EnScore:
    """Return the En score, (x − X) / √(U_lab² + U_ref²).

    Parameters
    ----------
    value, expanded_uncertainty : float
        The laboratory's result x and U with k = 2 [one unit for all four].
    reference, reference_expanded_uncertainty : float
        Reference value X and its U with k = 2, independent of the laboratory's.

    Returns
    -------
    EnScore
        Satisfactory where |En| is at most 1.

    Raises
    ------
    ValueError
        A number is not finite, an uncertainty is negative, or both are 0.

    References
    ----------
    ISO/IEC 17043, annex B (from memory).

    Examples
    --------
    >>> round(en_score(10.02, 0.03, 10.00, 0.02).score, 4)
    0.5547
    """
    numbers = (value, expanded_uncertainty, reference, reference_expanded_uncertainty)
    if not all(math.isfinite(number) for number in numbers):
        raise ValueError("Values and uncertainties must be finite numbers.")
    if expanded_uncertainty < 0 or reference_expanded_uncertainty < 0:
        raise ValueError("Uncertainties must be at least 0.")
    together = math.hypot(expanded_uncertainty, reference_expanded_uncertainty)
    if together == 0:
        raise ValueError("An En score needs at least one uncertainty above 0.")
    score = (value - reference) / together
    return EnScore(score, abs(score) <= 1)
