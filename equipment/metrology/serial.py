"""Noise whose neighbours are alike: by how much less a mean of it is known than of independent readings."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

_LEAST_READINGS = 16
_SIGMAS = 2.0


def serial_factor(residuals: ArrayLike) -> float:
    """Return by how much the variance of a mean exceeds that of independent readings.

    f = 1 + 2 Σ ρ_k over the first lags k at which the correlation ρ_k stands out of what chance gives, 2/√n. Readings
    that were interpolated to another rate, or bridged over a gap, are alike in this way; so are those that rounding
    holds on one step.

    Parameters
    ----------
    residuals : array_like, shape (n,)
        What a fit left, in the order of time [any unit].

    Returns
    -------
    float
        Dimensionless, at least 1; 1 where fewer than 16 residuals, or none that differ, tell nothing. A variance that
        was worked out for independent readings is multiplied by it, its degrees of freedom are divided.

    Notes
    -----
    Holds for means and fits whose curves change little over the lags that count. Neighbours that are unlike (ρ below 0)
    would make a mean better known; that is not used.

    References
    ----------
    G. E. P. Box, G. M. Jenkins, Time Series Analysis (variance of a mean of a stationary series), from memory.

    Examples
    --------
    >>> serial_factor([1.0, -1.0] * 20)
    1.0
    >>> serial_factor(np.repeat([1, -1, -1, 1, 1, -1, 1, -1] * 4, 2))  # ρ_1 = (32 - 15)/64, ρ_2 = -30/64
    1.53125
    """
    values = np.asarray(residuals, dtype=float)
    if len(values) < _LEAST_READINGS:
        return 1.0
    values = values - values.mean()
    power = float(values @ values)
    if power == 0:
        return 1.0
    least, factor = _SIGMAS / math.sqrt(len(values)), 1.0
    for lag in range(1, len(values) // 4):
        alike = float(values[:-lag] @ values[lag:]) / power
        if alike < least:
            break
        factor += 2 * alike
    return factor
