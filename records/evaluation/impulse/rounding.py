"""What a recorder's steps do to the parameters of an impulse where noise is too small to average them out."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from records.readers.recording import Samples

DITHERED = 0.5
"""Steps of noise from which on rounding is noise like any other: exp(-2π²/4), below 1 %, of the staircase is left."""

_PHASES, _STAIRS = 512, 5
_LAGS, _MOST_PAIRS, _HARMONICS = 12, 2000, 40
_NEAR_WHOLE = 0.1  # of a step
_LEAST_PAIRS = 50
_MOST_LEVELS = 10_000
_OFF_STEP = 0.1  # of a step: a level that lies further from its place is none of a recorder's


def step_of(values: Samples, resolution: float) -> float:
    """Return the step of a recorder [unit of the values], or 0 where the samples do not lie on equal steps.

    Parameters
    ----------
    values : ndarray (n,)
        As recorded [any unit].
    resolution : float
        The smallest step between different values [same unit].
    """
    if not resolution:
        return 0.0
    levels = np.unique(values[:: max(1, len(values) // _MOST_LEVELS)])
    numbers = np.round((levels - levels[0]) / resolution)
    if numbers[-1] == 0:
        return 0.0
    step = float(numbers @ (levels - levels[0])) / float(numbers @ numbers)
    numbers = np.round((levels - levels[0]) / step)
    off = np.abs((levels - levels[0]) / step - numbers)
    return step if off.max() < _OFF_STEP else 0.0


def noise_in_steps(values: Samples, curve: Samples, step: float) -> float:
    """Return the standard deviation of the noise before rounding, in steps, dimensionless.

    Parameters
    ----------
    values : ndarray (n,)
        Rounded samples [any unit].
    curve : ndarray (n,)
        What they follow, up to a slow error [same unit].
    step : float
        Of the rounding, above 0 [same unit].

    Returns
    -------
    float
        0 to 1; 0 also where too few samples tell it.

    Notes
    -----
    Samples that follow each other, d steps apart, differ after rounding by D. Over all places of the steps the mean of
    (D - d)² is 2σ² + 1/6 - Σ cos(2πkd) exp(-4π²k²σ²)/(π²k²): without noise r (1 - r), r being the broken part of d.
    Where d is nearly a whole number that grows in proportion to σ itself, so that noise of a hundredth of a step is
    seen although few samples show it; only such pairs, up to twelve samples apart, are looked at. Differences are
    blind to a curve that lies wrong as a whole.

    References
    ----------
    The Fourier series of rounding: B. Widrow, I. Kollár, Quantization Noise (from memory); the sum is worked from it.
    """
    every = max(1, len(values) // _MOST_PAIRS)
    apart, seen = [], []
    for lag in range(1, _LAGS + 1):
        between = (curve[lag:] - curve[:-lag])[::every] / step
        is_whole = np.abs(between - np.round(between)) < _NEAR_WHOLE
        apart.append(between[is_whole])
        seen.append((values[lag:] - values[:-lag])[::every][is_whole] / step)
    between, found = np.concatenate(apart), np.concatenate(seen)
    if len(between) < _LEAST_PAIRS:
        return 0.0
    turn = np.exp(2j * np.pi * between)
    orders = np.arange(1, _HARMONICS + 1)
    turned, means = np.ones_like(turn), np.empty(_HARMONICS)
    for place in range(_HARMONICS):
        turned = turned * turn
        means[place] = turned.real.mean() / (math.pi * orders[place]) ** 2
    odd = np.abs(found - between) > 6.0  # a gap or a collapse
    squares = float(np.mean((found - between)[~odd] ** 2)) if not odd.all() else 0.0

    def left(sigma: float) -> float:
        return 2 * sigma**2 + 1 / 6 - float(means @ np.exp(-((2 * math.pi * orders * sigma) ** 2))) - squares

    low, high = 0.0, 1.0
    if left(low) >= 0:
        return 0.0
    for _ in range(24):
        middle = (low + high) / 2
        low, high = (middle, high) if left(middle) < 0 else (low, middle)
    return (low + high) / 2


@dataclass(frozen=True)
class Staircase:
    """The error of rounding to whole steps by where a value lies between two of them, its noise averaged out.

    Attributes
    ----------
    mean, variance : ndarray (512,)
        Of the error, over the noise, at 512 places from one step to the next [steps, steps²].
    """

    mean: Samples
    variance: Samples

    @classmethod
    def with_noise(cls, sigma: float) -> Staircase:
        """Return the staircase for noise of `sigma` steps; 0 leaves its edges sharp."""
        places = (np.arange(_PHASES) + 0.5) / _PHASES
        if sigma < 1 / _PHASES:
            return cls(np.round(places) - places, np.zeros(_PHASES))
        levels = np.arange(-_STAIRS, _STAIRS + 2)
        edges = ndtr((levels[:, None] + 0.5 - places) / sigma)
        shares = np.diff(edges, axis=0, prepend=0.0)
        mean = levels @ shares
        return cls(mean - places, np.asarray(levels**2 @ shares - mean**2))

    def at(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the mean error [steps] of values [steps], of any shape."""
        return self.mean[self._places(values)]

    def spread_at(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the standard deviation of the error [steps] of values [steps], of any shape."""
        answer: NDArray[np.float64] = np.sqrt(np.maximum(self.variance, 0.0))[self._places(values)]
        return answer

    def _places(self, values: NDArray[np.float64]) -> NDArray[np.intp]:
        return ((values - np.floor(values)) * _PHASES).astype(np.intp) & (_PHASES - 1)
