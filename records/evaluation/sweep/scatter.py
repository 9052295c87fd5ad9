"""How much the samples of a sweep scatter: alike everywhere, or more where the impedance is small or great."""

from __future__ import annotations

import numpy as np
from scipy.optimize import nnls

from records.readers.recording import Samples

_ROUNDS = 4
_BETTER = 6.0  # by so much the logarithm of the likelihood must rise before scatter is taken to depend on the impedance
_LEAST = 1e-13
_LEAST_LEFT = 0.2  # a sample that decides the fit by itself tells nothing of its scatter; it is not raised further


def scatter_of(errors: Samples, magnitude: Samples, leverage: Samples) -> Samples:
    """Return the standard deviation of each relative error.

    The variance is a² + b²/|Z|² + c²|Z|²: a share of the reading, noise of the impedance itself (which tells most at
    a resonance), noise of its reciprocal. The three are fitted to the squares of the errors, none below 0; where that
    does not describe them clearly better, the scatter is taken as one for all samples.

    Parameters
    ----------
    errors : ndarray (n,)
        Relative errors that a fit leaves, of magnitude or of phase, dimensionless.
    magnitude : ndarray (n,)
        Magnitude of the impedance in any unit.
    leverage : ndarray (n,)
        How much each sample draws the fit to itself, 0 to 1: its error is left smaller by as much, and is raised again.

    Returns
    -------
    ndarray (n,)
        Dimensionless, above 0.
    """
    squares = errors**2 / np.maximum(1 - leverage, _LEAST_LEFT)
    alike = np.full(len(errors), max(float(squares.mean()), _LEAST**2))
    if alike[0] <= _LEAST**2:
        return np.sqrt(alike)
    of_median = (magnitude / np.median(magnitude)) ** 2
    columns = np.column_stack([np.ones_like(of_median), 1 / of_median, of_median])
    variance = alike
    for _ in range(_ROUNDS):
        weighted = columns / variance[:, None]
        size = np.linalg.norm(weighted, axis=0)
        shares, _ = nnls(weighted / size, squares / variance)
        variance = np.maximum(columns @ (shares / size), 1e-6 * alike)
    if _likelihood(squares, variance) - _likelihood(squares, alike) <= _BETTER:
        return np.sqrt(alike)
    return np.asarray(np.sqrt(variance), dtype=np.float64)


def _likelihood(squares: Samples, variance: Samples) -> float:
    return -0.5 * float(np.sum(np.log(variance) + squares / variance))
