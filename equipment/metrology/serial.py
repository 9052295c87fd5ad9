"""Noise whose neighbours are alike: by how much less a mean of it is known than of independent readings."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.linalg import toeplitz

_LEAST_READINGS = 16
_SIGMAS = 0.5
_NOTHING = 1e-12


def likeness(residuals: ArrayLike, parameters: int = 1) -> NDArray[np.float64]:
    """Return the correlations ρ_1, ρ_2, … of neighbouring residuals, as far as they last.

    Taken as long as ρ_k lies above 1/(2√n), half of what chance gives. Readings that were interpolated to another rate,
    or bridged over a gap, are alike in this way; so are those that rounding holds on one step.

    Parameters
    ----------
    residuals : array_like, shape (n,)
        What a fit left, in the order of time [any unit].
    parameters : int
        How many the fit had, the mean among them: they make each ρ_k too small by p/n.

    Returns
    -------
    ndarray, shape (k,)
        Dimensionless; empty where fewer than 16 residuals, or none that differ, tell nothing.

    References
    ----------
    G. E. P. Box, G. M. Jenkins, Time Series Analysis, from memory.

    Examples
    --------
    >>> likeness([1.0, -1.0] * 20).tolist()
    []
    """
    values = np.asarray(residuals, dtype=float)
    if len(values) < _LEAST_READINGS:
        return np.empty(0)
    values, taken = values - values.mean(), parameters / len(values)
    power = float(values @ values)
    found: list[float] = []
    for lag in range(1, len(values) // 4 if power else 0):
        alike = float(values[:-lag] @ values[lag:]) / power + taken
        if alike < _SIGMAS / math.sqrt(len(values)):
            break
        found.append(alike)
    return np.array(found)


def serial_factor(residuals: ArrayLike, parameters: int = 1) -> float:
    """Return by how much the variance of a mean exceeds that of independent readings, f = 1 + 2 Σ ρ_k.

    Parameters
    ----------
    residuals : array_like, shape (n,)
        What a fit left, in the order of time [any unit].
    parameters : int
        How many the fit had.

    Returns
    -------
    float
        Dimensionless, at least 1. A fit to n readings then has the degrees of freedom ν = n/f − p (`freedom_of`), and
        its covariance is Σ r²/ν (JᵀJ)⁻¹.

    Notes
    -----
    Holds for means and fits whose curves change little over the lags that count. Independent readings cost a few per
    cent on average, so that weak likeness is not missed. Neighbours that are unlike (ρ below 0) would make a mean
    better known; that is not used.

    Examples
    --------
    >>> serial_factor(np.repeat([1, -1, -1, 1, 1, -1, 1, -1] * 4, 2))  # ρ_1 = (32 - 15)/64 + 1/64, ρ_2 = -30/64 + 1/64
    1.5625
    """
    return 1.0 + 2.0 * float(likeness(residuals, parameters).sum())


def freedom_of(readings: int, parameters: int, factor: float) -> float:
    """Return the degrees of freedom of a fit whose noise is alike: n/f − p, at least 1, dimensionless.

    Examples
    --------
    >>> freedom_of(40, 4, 2.0)
    16.0
    """
    return max(1.0, readings / factor - parameters)


def counted(columns: NDArray[np.float64], reading: NDArray[np.float64], alike: ArrayLike) -> tuple[float, float]:
    """Return what a fit to few readings, their noise being alike, makes of the squares that it leaves.

    Parameters
    ----------
    columns : ndarray, shape (n, p)
        Derivatives of the readings by the parameters.
    reading : ndarray, shape (p,)
        The combination of parameters that is asked for.
    alike : array_like, shape (k,)
        Correlations of neighbours, as `likeness` gives them.

    Returns
    -------
    tuple of (float, float)
        c in u² = c Σ r², above 0, and the degrees of freedom of u, at least 1.

    Raises
    ------
    ValueError
        There are no more readings than parameters.

    Notes
    -----
    With Σ the correlations of the readings, a = J (JᵀJ)⁻¹ l and M = 1 − J (JᵀJ)⁻¹ Jᵀ: c = aᵀΣa/tr(MΣ), ν =
    tr(MΣ)²/tr(MΣMΣ).

    References
    ----------
    F. E. Satterthwaite, Biometrics Bulletin 2 (1946), from memory.

    Examples
    --------
    >>> c, freedom = counted(np.ones((5, 1)), np.ones(1), [])  # s²/n = Σ r²/(n (n - 1)) with n - 1 degrees of freedom
    >>> round(c, 12), round(freedom, 12)
    (0.05, 4.0)
    """
    count = len(columns)
    row = np.zeros(count)
    row[0] = 1.0
    known = np.asarray(alike, dtype=float)[: count - 1]
    row[1 : 1 + len(known)] = known
    inverse = np.linalg.pinv(columns)
    weights, left_over = reading @ inverse, np.eye(count) - columns @ inverse
    for matrix in _possible(toeplitz(row)):
        left = left_over @ matrix
        variance, trace = float(weights @ matrix @ weights), float(np.trace(left))
        if variance > _NOTHING and trace > _NOTHING:
            return variance / trace, max(1.0, trace**2 / float(np.sum(left * left.T)))
    raise ValueError("The readings do not tell more than the parameters of the curve.")


def _possible(estimated: NDArray[np.float64]) -> Iterator[NDArray[np.float64]]:
    """Return the correlations as estimated, the nearest that can be, and none: the next where one gives no variance.

    Correlations that were cut off at a lag need not be those of any noise; then some combination of readings would
    have a variance below 0.
    """
    yield estimated
    values, vectors = np.linalg.eigh(estimated)
    yield (vectors * np.maximum(values, 0.0)) @ vectors.T
    yield np.eye(len(estimated))
