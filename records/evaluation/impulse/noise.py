"""What noise and resolution of the samples do to points of the test-voltage curve, through filter and fit together."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from records.evaluation.impulse.fitting import BaseCurve
from records.evaluation.impulse.smoothing import A_US2
from records.readers.recording import Samples

_BETA = 2 * math.pi / math.sqrt(A_US2)  # 1/µs: the filter answers one sample by (β/2) exp(-β|t|)
_REACH_US = 18 / _BETA


class CurveNoise:
    """Covariance of the errors of the test-voltage curve at a few of its points.

    Parameters
    ----------
    noise_kv : float
        Standard deviation of one sample, independent from sample to sample [kV].
    interval_us : float
        Sampling period [µs].
    base : BaseCurve
        The fit, with the covariance of its parameters.
    window_us : tuple of float
        First and last time of the samples that were fitted [µs].

    Notes
    -----
    The curve is y = b + k*(v - b). A sample's error reaches it through the filter, and through the fit by as much of
    the base curve as the filter takes away: e(t) = (k*n)(t) + g(t)·δθ with g = ∂b - k*∂b and δθ = (JᵀJ)⁻¹Jᵀn. Both
    come from the same noise, so their covariance counts. k(f) = 1/(1 + a f²) has the closed form
    (β/2) exp(-β|t|), β = 2π/√a, whose correlation with itself is (β/4)(1 + β|t|) exp(-β|t|).
    """

    def __init__(self, noise_kv: float, interval_us: float, base: BaseCurve, window_us: tuple[float, float]) -> None:
        self.variance, self.interval_us, self.base, self.window_us = noise_kv**2, interval_us, base, window_us

    def covariance(self, time_us: Samples) -> NDArray[np.float64]:
        """Return the covariance [kV²] of the curve's errors at times [µs] (n,), an ndarray (n, n)."""
        lag = _BETA * np.abs(time_us[:, None] - time_us[None, :])
        direct = self.interval_us * _BETA / 4 * (1 + lag) * np.exp(-lag)
        offsets = np.linspace(-_REACH_US, _REACH_US, 601)
        weights = np.exp(-_BETA * np.abs(offsets))
        weights /= weights.sum()
        around = time_us[:, None] - offsets[None, :]
        slopes = self.base.slopes_at(around.ravel()).reshape(*around.shape, 4)
        inside = (around >= self.window_us[0]) & (around <= self.window_us[1])
        smoothed = np.einsum("ijk,j->ik", slopes, weights)
        seen = np.einsum("ijk,ij->ik", slopes, inside * weights[None, :])
        lost = self.base.slopes_at(time_us) - smoothed
        mixed = lost @ self.base.scatter @ seen.T
        total: NDArray[np.float64] = direct + mixed + mixed.T + lost @ self.base.scatter @ lost.T
        return self.variance * total

    def of_base_crest(self) -> float:
        """Return the standard uncertainty of the base curve's maximum [kV]."""
        wave = self.base.wave
        slopes = self.base.slopes_at(np.array([wave.start_us + wave.crest_us]))[0]
        return math.sqrt(max(self.variance * float(slopes @ self.base.scatter @ slopes), 0.0))

    def of_search(self) -> float:
        """Return by how much the search for the curve's maximum among noise exceeds it on average [kV].

        The variance of the error's slope by twice the curvature of the crest.
        """
        wave = self.base.wave
        bend = abs(wave.crest_kv) / (wave.slow_us * wave.fast_us)
        return self.variance * self.interval_us * _BETA**3 / 4 / (2 * bend)
