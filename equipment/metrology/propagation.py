"""Law of propagation of uncertainty: sensitivities and uncertainties to a combined and expanded uncertainty."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

_ROUNDING = 1e-9


def covariance_of_results(
    sensitivities: ArrayLike, standard_uncertainties: ArrayLike, correlations: ArrayLike | None = None
) -> NDArray[np.float64]:
    """Return the covariance matrix of m results of n inputs, V = C S R S Cᵀ.

    Parameters
    ----------
    sensitivities : array_like, shape (m, n)
        C, partial derivative of each result by each input [unit of the result per unit of the input].
    standard_uncertainties : array_like, shape (n,)
        Diagonal of S [unit of each input].
    correlations : array_like, shape (n, n), optional
        R, dimensionless; the identity where not given.

    Returns
    -------
    ndarray, shape (m, m)
        V; its diagonal holds the squared combined standard uncertainties.

    Raises
    ------
    ValueError
        Shapes do not fit.

    References
    ----------
    JCGM 100:2008, 5.1.2 and 5.2.2 (from memory); JCGM 102:2011 for several results (from memory).

    Examples
    --------
    >>> covariance_of_results([[1, 1]], [3, 4]).tolist()
    [[25.0]]
    """
    scaled = np.atleast_2d(np.asarray(sensitivities, dtype=float)) * np.asarray(standard_uncertainties, dtype=float)
    if correlations is None:
        return scaled @ scaled.T
    covariance = scaled @ np.asarray(correlations, dtype=float) @ scaled.T
    return (covariance + covariance.T) / 2  # the two orders of summation differ in the last bit


def effective_degrees_of_freedom(contributions: Sequence[float], degrees_of_freedom: Sequence[float]) -> float:
    """Return the effective degrees of freedom of independent contributions (Welch and Satterthwaite).

    ν_eff = u_c⁴ / Σ(u_i⁴ / ν_i), with u_c² = Σ u_i².

    Parameters
    ----------
    contributions : sequence of float, shape (n,)
        u_i = |c_i| u(x_i) [unit of the result].
    degrees_of_freedom : sequence of float, shape (n,)
        ν_i, above 0; infinite for what is known exactly.

    Returns
    -------
    float
        ν_eff, dimensionless, not truncated; infinite where every contribution that counts has infinite ν.

    Raises
    ------
    ValueError
        A ν_i is not above 0, or the lengths differ.

    Notes
    -----
    Valid for independent inputs only.

    References
    ----------
    JCGM 100:2008, G.4.1, equation G.2b (from memory).

    Examples
    --------
    >>> effective_degrees_of_freedom([1.0, 1.0], [4, math.inf])
    16.0
    """
    if any(not freedom > 0 for freedom in degrees_of_freedom):
        raise ValueError("Degrees of freedom must be above 0.")
    largest = max((abs(part) for part in contributions), default=0.0)
    if largest == 0:
        return math.inf
    parts = [abs(part) / largest for part in contributions]  # keeps fourth powers from under- and overflowing
    spread = sum(part**4 / freedom for part, freedom in zip(parts, degrees_of_freedom, strict=True))
    return sum(part**2 for part in parts) ** 2 / spread if spread else math.inf


def coverage_factor(coverage_probability: float, degrees_of_freedom: float = math.inf) -> float:
    """Return the coverage factor k of a two-sided interval, from the t-distribution.

    Parameters
    ----------
    coverage_probability : float
        p, between 0 and 1, both excluded.
    degrees_of_freedom : float
        ν, truncated to the next lower whole number, at least 1; infinite gives the normal distribution.

    Returns
    -------
    float
        k = t_p(ν), dimensionless.

    Raises
    ------
    ValueError
        p lies outside, or ν is below 1 or NaN.

    References
    ----------
    JCGM 100:2008, G.3.4 and G.4.1 note 1 (truncation) (from memory).

    Examples
    --------
    >>> round(coverage_factor(0.99, 16.75), 2)
    2.92
    """
    if not 0 < coverage_probability < 1:
        raise ValueError("The coverage probability must lie between 0 and 1.")
    freedom = whole_degrees(degrees_of_freedom)
    upper = (1 + coverage_probability) / 2
    if math.isinf(freedom):
        return float(special.ndtri(upper))
    return float(special.stdtrit(freedom, upper))


def whole_degrees(degrees_of_freedom: float) -> float:
    """Return degrees of freedom truncated to the next lower whole number; infinite ones stay.

    Parameters
    ----------
    degrees_of_freedom : float
        ν, at least 1, dimensionless.

    Returns
    -------
    float
        A whole number, dimensionless.

    Raises
    ------
    ValueError
        ν is below 1 or NaN.

    References
    ----------
    JCGM 100:2008, G.4.1 note 1 (from memory).

    Examples
    --------
    >>> whole_degrees(16.75)
    16.0
    """
    # A sum that should give 4 gives 3.9999999999; half a unit of rounding must not cost a whole degree.
    freedom = degrees_of_freedom * (1 + _ROUNDING)
    if not freedom >= 1:
        raise ValueError("Degrees of freedom must be at least 1 for a coverage factor.")
    return freedom if math.isinf(freedom) else float(math.floor(freedom))


def correlation_matrix(covariance: ArrayLike) -> NDArray[np.float64]:
    """Return the correlation matrix of a covariance matrix.

    Parameters
    ----------
    covariance : array_like, shape (m, m)
        Symmetric, diagonal at least 0.

    Returns
    -------
    ndarray, shape (m, m)
        Dimensionless, from -1 to 1; a result without uncertainty has correlation 0 with every other.

    Raises
    ------
    ValueError
        The matrix is not square.

    Examples
    --------
    >>> correlation_matrix([[4, 3], [3, 9]]).tolist()
    [[1.0, 0.5], [0.5, 1.0]]
    """
    matrix = np.asarray(covariance, dtype=float)
    if matrix.ndim != 2 or matrix.shape[0] != matrix.shape[1]:
        raise ValueError("A covariance matrix is square.")
    deviations = np.sqrt(np.diag(matrix))
    scale = np.where(deviations > 0, deviations, np.inf)
    answer = np.clip(matrix / np.outer(scale, scale), -1.0, 1.0)
    np.fill_diagonal(answer, 1.0)
    return answer


def is_possible_correlation(correlations: ArrayLike) -> bool:
    """Tell whether a symmetric matrix of correlations can belong to real quantities (no negative eigenvalue).

    Parameters
    ----------
    correlations : array_like, shape (n, n)
        Symmetric with ones on the diagonal.

    Returns
    -------
    bool
        False where the pairs contradict each other; eigenvalues down to -1e-9 count as rounding.

    Raises
    ------
    numpy.linalg.LinAlgError
        The matrix is not square.

    Examples
    --------
    >>> is_possible_correlation([[1, 0.9, 0.9], [0.9, 1, -0.9], [0.9, -0.9, 1]])
    False
    """
    matrix = np.asarray(correlations, dtype=float)
    return matrix.size == 0 or bool(np.linalg.eigvalsh(matrix).min() >= -_ROUNDING)
