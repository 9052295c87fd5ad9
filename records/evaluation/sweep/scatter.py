"""How much the samples of a sweep scatter: alike everywhere, or more where the impedance is small or great."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import nnls

from records.readers.recording import Samples

_ROUNDS = 40
_WORTH = 1.0  # of the doubled logarithm of the likelihood: what a part must gain, its expectation where it is none
_LEAST_LEFT = 1e-3  # of a sample that decides a parameter alone
_SETTLED = 1e-3  # of the doubled logarithm of the likelihood
_LEAST = 1e-13  # below, only rounding is left
_NO_SLOPE = 1e-150  # of a parameter that the samples do not tell: its square would not be a number
_FLOOR = 1e-6  # of the mean square: no sample is taken for better than this


@dataclass(frozen=True)
class Scatter:
    """Parts of the variance of the errors, and what is known of them.

    Attributes
    ----------
    spread : ndarray (2 n,) or (n,)
        Standard deviation of each error, magnitude above phase where that was measured, dimensionless, above 0.
    inverse : ndarray (k, k)
        (JᵀWJ)⁻¹: covariance of the fit's parameters.
    pulls : ndarray (m, k, k)
        Jᵀ W (∂V/∂θ) W J by each of the m parts θ: how the covariance's inverse falls as that part grows.
    of_parts : ndarray (m, m)
        Covariance of the estimated parts themselves.
    """

    spread: Samples
    inverse: NDArray[np.float64]
    pulls: NDArray[np.float64]
    of_parts: NDArray[np.float64]

    def freedom(self, direction: Samples) -> float:
        """Return the degrees of freedom of the uncertainty of one combination of parameters (k,), at least 1.

        ν = 2 u⁴/var(u²), the variance from how well each part of the scatter is known (Satterthwaite).
        """
        if not len(self.of_parts):
            return math.inf
        turned = self.inverse @ direction
        variance = float(direction @ turned)
        slopes = np.einsum("i,mij,j->m", turned, self.pulls, turned)
        unsure = float(slopes @ self.of_parts @ slopes)
        return max(1.0, 2 * variance**2 / unsure) if unsure > 0 and variance > 0 else math.inf


def scatter_of(errors: Samples, slopes: NDArray[np.float64], magnitude: Samples, before: Scatter | None) -> Scatter:
    """Return how much the errors that a fit leaves scatter.

    The variance of a relative error is a² + b²/|Z|² + c²|Z|²: a share of the reading, one for magnitude and one for
    phase; noise of the impedance itself (which tells most at a resonance); noise of its reciprocal. The last two are
    round in the complex plane, so that magnitude and phase share them.

    Parameters
    ----------
    errors : ndarray (2 n,) or (n,)
        Relative errors that a fit leaves, of magnitude above those of phase, or of magnitude alone, dimensionless.
    slopes : ndarray (2 n, k) or (n, k)
        Their derivatives by the parameters of the fit, not weighted.
    magnitude : ndarray (n,)
        Magnitude of the fitted impedance in any unit: not the measured one, which is small where its noise makes it so.
    before : Scatter or None
        Of the pass before, by which the fit was weighed; None where all samples counted alike.

    Returns
    -------
    Scatter
        Frozen.

    Notes
    -----
    The parts are those of restricted maximum likelihood by Fisher scoring, none below 0: the squares are weighed by
    what the fit took from them, so that a sample that decides a parameter alone tells little of the scatter.

    References
    ----------
    Restricted maximum likelihood: H. D. Patterson, R. Thompson, Biometrika 58 (1971); degrees of freedom:
    F. E. Satterthwaite, Biometrics Bulletin 2 (1946); both from memory.
    """
    half, mean = len(magnitude), float(np.mean(errors**2))
    has_phase = len(errors) > half
    if mean <= _LEAST**2:
        spread = np.full(len(errors), _LEAST)
        return Scatter(spread, _inverse(slopes / _LEAST), np.empty((0, 0, 0)), np.empty((0, 0)))
    of_median = np.tile((magnitude / np.median(magnitude)) ** 2, 1 + has_phase)
    is_magnitude = np.arange(len(errors)) < half
    shares = [is_magnitude, ~is_magnitude] if has_phase else [is_magnitude]
    columns = np.column_stack([*shares, 1 / of_median, of_median])
    variance = np.full(len(errors), mean) if before is None else before.spread**2
    known = _Known(slopes, columns, variance)
    parts = _fewest(errors**2, columns, np.maximum(1 - known.leverage, _LEAST_LEFT), mean)
    known = _Known(slopes, columns[:, parts > 0], np.maximum(columns @ parts, _FLOOR * mean))
    return Scatter(np.sqrt(known.variance), known.inverse, known.pulls, known.of_parts)


def _fewest(squares: Samples, columns: NDArray[np.float64], left: Samples, mean: float) -> Samples:
    """Return the likeliest parts, those that hardly make the errors likelier being left out: they cannot be below 0.

    Without this, parts that are not there would be taken for a little above 0 in half of all sweeps.
    """
    kept = list(range(columns.shape[1]))
    parts, badness = _likeliest(squares, columns, left, mean)
    for place in reversed(range(columns.shape[1])):
        others = [one for one in kept if one != place]
        if not others:
            break
        fewer, worse = _likeliest(squares, columns[:, others], left, mean)
        if worse - badness < _WORTH:
            kept, parts, badness = others, fewer, worse
    whole = np.zeros(columns.shape[1])
    whole[kept] = parts
    return whole


def _likeliest(squares: Samples, columns: NDArray[np.float64], left: Samples, mean: float) -> tuple[Samples, float]:
    """Return the parts, none below 0, for which Σ (1 - h) ln v + e²/v is least, and that sum.

    Fisher scoring, and where that makes it worse a step that never does: each part times the root of what its
    samples show by what they should.
    """

    def badness(variance: Samples) -> float:
        return float(left @ np.log(variance) + np.sum(squares / variance))

    size = columns.mean(axis=0)
    scaled = columns / size
    parts = np.full(columns.shape[1], mean / columns.shape[1])
    variance = np.maximum(scaled @ parts, _FLOOR * mean)
    worst = badness(variance)
    for _ in range(_ROUNDS):
        shares = scaled / variance[:, None]
        root = np.sqrt(left)
        trial, _ = nnls(shares * root[:, None], squares / variance / root)
        of_trial = np.maximum(scaled @ trial, _FLOOR * mean)
        if not badness(of_trial) < worst:
            trial = parts * np.sqrt((shares.T @ (squares / variance)) / (shares.T @ left))
            of_trial = np.maximum(scaled @ trial, _FLOOR * mean)
        parts, variance, gained = trial, of_trial, worst - badness(of_trial)
        worst -= gained
        if gained < _SETTLED:
            break
    return parts / size, worst


class _Known:
    """What the samples tell of the parts, their variances being as given."""

    def __init__(self, slopes: NDArray[np.float64], columns: NDArray[np.float64], variance: Samples) -> None:
        self.columns, self.variance = columns, variance
        weighted = slopes / np.sqrt(variance)[:, None]
        self.inverse = _inverse(weighted)
        shares = columns / variance[:, None]
        self.leverage = leverage = np.einsum("ij,jk,ik->i", weighted, self.inverse, weighted, optimize=True)
        self.pulls = np.array([(weighted * share[:, None]).T @ weighted for share in shares.T])
        turned = self.pulls @ self.inverse
        taken = np.einsum("aij,bji->ab", turned, turned)
        # tr(P D P D')/2 with P = W - W J (JᵀWJ)⁻¹ Jᵀ W
        self.least = 1e-12 * np.sum(shares**2, axis=0)
        self.information = (shares.T @ ((1 - 2 * leverage)[:, None] * shares) + taken) / 2

    def _axes(self) -> tuple[Samples, Samples, NDArray[np.float64]]:
        """Return scale, eigenvalues and eigenvectors of the information, none of them told by rounding."""
        size = np.sqrt(np.maximum(np.diag(self.information), self.least))
        values, vectors = np.linalg.eigh(self.information / np.outer(size, size))
        return size, np.maximum(values, 1e-9 * values[-1]), vectors

    @property
    def of_parts(self) -> NDArray[np.float64]:
        """Covariance of the parts."""
        size, values, vectors = self._axes()
        inverse = (vectors / values) @ vectors.T / np.outer(size, size)
        return np.asarray(inverse, dtype=np.float64)


def _inverse(slopes: NDArray[np.float64]) -> NDArray[np.float64]:
    size = np.linalg.norm(slopes, axis=0)
    size[size < _NO_SLOPE] = 1.0
    scaled = slopes / size
    inverse = np.linalg.pinv(scaled.T @ scaled) / np.outer(size, size)
    return np.asarray(inverse, dtype=np.float64)
