"""What noise and resolution of the samples do to points of the test-voltage curve, through filter and fit together."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import oaconvolve, savgol_coeffs

from records.evaluation.impulse.fitting import BaseCurve
from records.evaluation.impulse.smoothing import A_US2
from records.readers.recording import Samples

_BETA = 2 * math.pi / math.sqrt(A_US2)  # 1/µs: the filter answers one sample by (β/2) exp(-β|t|)
_REACH_US = 18 / _BETA
_WINDOW_POINTS = 2000
_DRAWS, _SEED, _TAPS = 300, 1, 11
_FAR = 8.0  # standard deviations below the top: noise does not bring up what lies lower


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

    def crest_by(self, error: Callable[[Samples], Samples]) -> float:
        """Return by how much the base curve's maximum is moved by an error of the record [kV] over time [µs] (n,)."""
        wave = self.base.wave
        at_crest = self.base.slopes_at(np.array([wave.start_us + wave.crest_us]))[0]
        time_us = np.linspace(*self.window_us, _WINDOW_POINTS)
        each = (self.window_us[1] - self.window_us[0]) / self.interval_us / _WINDOW_POINTS
        pull = self.base.slopes_at(time_us).T @ error(time_us) * each
        return float(at_crest @ self.base.scatter @ pull)

    def of_search(self) -> float:
        """Return by how much the search for the curve's maximum among noise exceeds it on average [kV].

        The variance of the error's slope by twice the curvature of the crest.
        """
        wave = self.base.wave
        bend = abs(wave.crest_kv) / (wave.slow_us * wave.fast_us)
        return self.variance * self.interval_us * _BETA**3 / 4 / (2 * bend)


@dataclass(frozen=True)
class Searched:
    """By how much the greatest value of a noisy curve exceeds the curve's own on average, and its spread [kV]."""

    excess_kv: float
    spread_kv: float


def searched(curve_kv: Samples, size: int, noise_kv: float) -> Searched:
    """Return what the search for the greatest value does on a curve whose noise was averaged by parabolas.

    Noise of known size is averaged in the same way and laid over the curve, some hundred times with a fixed seed: mean
    and standard deviation of the greatest values are what a search among noise makes of them. A broad crest lets
    several independent averages compete, a sharp one hardly any.

    Parameters
    ----------
    curve_kv : ndarray (n,)
        Without noise, or with as little as can be had [kV].
    size : int
        Samples averaged together, odd.
    noise_kv : float
        Standard deviation of one sample [kV].

    Returns
    -------
    Searched
        Frozen.

    References
    ----------
    The parametric bootstrap: B. Efron, Annals of Statistics 7 (1979), from memory.
    """
    top = float(curve_kv.max())
    left = noise_kv * math.sqrt(9 / (4 * size))
    near = np.flatnonzero(curve_kv >= top - _FAR * left)
    part = curve_kv[near[0] : near[-1] + 1]
    block = max(1, size // _TAPS)
    taps = (size // block) // 2 * 2 + 1
    curve = part[: len(part) // block * block].reshape(-1, block).mean(axis=1) if len(part) >= block else part
    # savgol_coeffs of degree 2 give the value at the centre of the window.
    kernel = savgol_coeffs(taps, 2)
    white = np.random.default_rng(_SEED).standard_normal((_DRAWS, len(curve) + taps - 1))
    # The averaged noise has the size that the whole window leaves, however it was cut into blocks.
    averaged = left * oaconvolve(white, kernel[None, :], mode="valid", axes=1) / float(np.linalg.norm(kernel))
    greatest = (curve + averaged).max(axis=1)
    return Searched(float(greatest.mean() - curve.max()), float(greatest.std()))
