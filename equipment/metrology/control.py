"""Control-chart statistics of a check standard: individuals, moving range, EWMA, and Nelson's rules 1 to 4."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

# Constants of the range of two values; d2 = 2/√π exactly, D4 = 1 + 3 √(1 − d2²/2)·√2/d2, here from the closed forms.
D2 = 2 / math.sqrt(math.pi)
D4 = 1 + 3 * math.sqrt(2 - D2**2) / D2


@dataclass(frozen=True)
class IndividualsChart:
    """Centre line, standard deviation from the moving range, and 3-sigma limits [unit of the values]."""

    centre: float
    sigma: float
    lower: float
    upper: float
    mean_moving_range: float
    moving_range_upper: float
    moving_ranges: NDArray[np.float64]


@dataclass(frozen=True)
class EwmaChart:
    """Exponentially weighted averages with their limits, arrays of shape (n,) [unit of the values]."""

    averages: NDArray[np.float64]
    lower: NDArray[np.float64]
    upper: NDArray[np.float64]

    def signals(self) -> tuple[int, ...]:
        """Return the indices, from 0, whose average lies outside its limits."""
        outside = (self.averages < self.lower) | (self.averages > self.upper)
        return tuple(int(n) for n in np.flatnonzero(outside))


def _series(values: ArrayLike, least: int) -> NDArray[np.float64]:
    series = np.asarray(values, dtype=float)
    if series.ndim != 1 or series.size < least:
        raise ValueError(f"A list of at least {least} value{'s' if least > 1 else ''} is needed.")
    if not np.isfinite(series).all():
        raise ValueError("Every value must be a finite number.")
    return series


def individuals_chart(values: ArrayLike) -> IndividualsChart:
    """Return the chart of individual values and moving ranges.

    σ = mean moving range / d2, limits mean ± 3 σ; upper limit of the moving range D4 · mean moving range.

    Parameters
    ----------
    values : array_like, shape (n,)
        In order of time, at least 2.

    Returns
    -------
    IndividualsChart
        Moving ranges have shape (n − 1,).

    Raises
    ------
    ValueError
        Fewer than 2 values, or one is not finite.

    References
    ----------
    ISO 7870-2 (from memory): d2 = 1.128, D4 = 3.267 for ranges of two.

    Examples
    --------
    >>> individuals_chart([10, 12, 11, 13]).mean_moving_range
    1.6666666666666667
    """
    series = _series(values, 2)
    ranges = np.abs(np.diff(series))
    centre, mean_range = float(series.mean()), float(ranges.mean())
    sigma = mean_range / D2
    return IndividualsChart(centre, sigma, centre - 3 * sigma, centre + 3 * sigma, mean_range, D4 * mean_range, ranges)


def ewma_chart(values: ArrayLike, *, centre: float, sigma: float, weight: float = 0.2, width: float = 3.0) -> EwmaChart:
    """Return the exponentially weighted moving average, which shows small lasting shifts.

    z_i = λ x_i + (1 − λ) z_{i−1}, z_0 = centre; limits centre ± L σ √(λ/(2 − λ) (1 − (1 − λ)^{2i})).

    Parameters
    ----------
    values : array_like, shape (n,)
        In order of time, at least 1.
    centre, sigma : float
        Known mean and standard deviation, sigma at least 0 [unit of the values].
    weight : float
        λ, above 0, at most 1.
    width : float
        L, above 0, dimensionless.

    Returns
    -------
    EwmaChart
        Arrays of shape (n,).

    Raises
    ------
    ValueError
        A number is not finite or out of range.

    References
    ----------
    ISO 7870-6 (from memory); default λ = 0.2, L = 3: common practice, no source.

    Examples
    --------
    >>> ewma_chart([10, 20], centre=10, sigma=1, weight=0.5).averages.tolist()
    [10.0, 15.0]
    """
    series = _series(values, 1)
    if not (math.isfinite(centre) and math.isfinite(sigma) and sigma >= 0):
        raise ValueError("Centre and sigma must be finite numbers, sigma at least 0.")
    if not (0 < weight <= 1 and math.isfinite(width) and width > 0):
        raise ValueError("The weight must lie above 0 and at most at 1, the width above 0.")
    averages = np.empty_like(series)
    before = centre
    for n, value in enumerate(series):
        before = averages[n] = weight * value + (1 - weight) * before
    age = np.arange(1, series.size + 1)
    reach = width * sigma * np.sqrt(weight / (2 - weight) * (1 - (1 - weight) ** (2 * age)))
    return EwmaChart(averages, centre - reach, centre + reach)


def nelson_rules(values: ArrayLike, *, centre: float, sigma: float) -> Mapping[int, tuple[int, ...]]:
    """Return where each of Nelson's rules 1 to 4 signals.

    1: one value more than 3 σ from the centre; 2: nine in a row on one side of it; 3: six in a row, each higher (or
    each lower) than the one before; 4: fourteen in a row, alternately up and down.

    Parameters
    ----------
    values : array_like, shape (n,)
        In order of time, at least 1.
    centre, sigma : float
        Mean and standard deviation of the process in control, sigma at least 0 [unit of the values].

    Returns
    -------
    mapping of int to tuple of int
        Rule to the indices, from 0, at which a signal is complete. A value on the centre line is on neither side; two
        equal neighbours end a run of rules 3 and 4.

    Raises
    ------
    ValueError
        A number is not finite or sigma is negative.

    References
    ----------
    L. S. Nelson, The Shewhart control chart: tests for special causes, Journal of Quality Technology 16 (1984)
    (from memory).

    Examples
    --------
    >>> nelson_rules([1, 2, 3, 4, 5, 6], centre=3.5, sigma=2)[3]
    (5,)
    """
    series = _series(values, 1)
    if not (math.isfinite(centre) and math.isfinite(sigma) and sigma >= 0):
        raise ValueError("Centre and sigma must be finite numbers, sigma at least 0.")
    sides = [int(side) for side in np.sign(series - centre)]
    turns = [0, *(int(step) for step in np.sign(np.diff(series)))]
    swings = [0, *(now if now == -before else 0 for before, now in pairwise(turns))]
    far = tuple(int(n) for n in np.flatnonzero(np.abs(series - centre) > 3 * sigma))
    alternating = _runs([abs(swing) for swing in swings], 12)  # 14 values make 13 steps and 12 changes of direction
    return {1: far, 2: _runs(sides, 9), 3: _runs(turns, 5), 4: alternating}


def _runs(signs: Sequence[Any], length: int) -> tuple[int, ...]:
    """Return the indices at which the last `length` signs are equal and not 0."""
    found, run = [], 0
    for n, sign in enumerate(signs):
        run = 0 if sign == 0 else run + 1 if n and sign == signs[n - 1] else 1
        if run >= length:
            found.append(n)
    return tuple(found)
