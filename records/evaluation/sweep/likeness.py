"""How alike two traces are: correlation, log error, and the correlation factors by bands."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from records.evaluation.sweep.poles import noise_of
from records.evaluation.usual import USUAL
from records.readers.recording import Samples

POINTS_PER_DECADE = USUAL["comparison_points_per_decade"].value
"""Grid on which traces are compared."""

# Information only, never a verdict.
BANDS = tuple((name, *USUAL[f"band_{name}_hz"].bounds) for name in ("low", "middle", "high"))
_LEAST_POINTS = 10


class NotComparable(ValueError):
    """The two traces have no frequencies in common."""


@dataclass(frozen=True)
class Likeness:
    """What compares two traces.

    Attributes
    ----------
    correlation : float
        Correlation coefficient of the magnitudes in decibels, -1 to 1; 1 where both are constant and equal.
    log_error_db : float
        Absolute sum of the logarithmic error: mean of the absolute differences in decibels [dB].
    factors : mapping of str to float
        Relative factors R by band, of the bands that both traces cover whole.
    u_correlation, u_log_error_db : float
        Standard uncertainties from the noise of both traces, dimensionless and [dB].
    u_factors : mapping of str to float
        The same of the factors; infinite where R is at its end of 10.
    greatest : tuple of float
        Where the traces differ most [Hz], and by how much [dB].
    range_hz : tuple of float
        Frequencies compared [Hz].
    """

    correlation: float
    log_error_db: float
    factors: dict[str, float]
    range_hz: tuple[float, float]
    u_correlation: float
    u_log_error_db: float
    u_factors: dict[str, float]
    greatest: tuple[float, float]


def compare_traces(one: tuple[Samples, Samples], other: tuple[Samples, Samples]) -> Likeness:
    """Return how alike two traces are over the frequencies that they share.

    Parameters
    ----------
    one, other : tuple of (ndarray (n,), ndarray (n,))
        Rising frequencies [Hz] and magnitudes [dB]; grids may differ.

    Returns
    -------
    Likeness
        Frozen.

    Raises
    ------
    NotComparable
        The traces share less than a tenth of a decade.

    Notes
    -----
    CC = Σ(x - x̄)(y - ȳ)/√(Σ(x - x̄)² Σ(y - ȳ)²); ASLE = Σ|y - x|/N, x and y in decibels, on one grid of 200 points
    a decade; R = -lg(1 - LR), 10 where 1 - LR is below 10⁻¹⁰.

    References
    ----------
    IEC 60076-18:2012, IEEE C57.149-2012, DL/T 911, from memory.
    """
    low, high = max(one[0][0], other[0][0]), min(one[0][-1], other[0][-1])
    if not high > low * 10**0.1:
        raise NotComparable(
            f"One trace runs from {one[0][0]:.4g} to {one[0][-1]:.4g} Hz, the other from {other[0][0]:.4g} to "
            f"{other[0][-1]:.4g} Hz: they share too few frequencies to be compared."
        )
    count = max(_LEAST_POINTS, round(POINTS_PER_DECADE * math.log10(high / low)) + 1)
    grid = np.geomspace(low, high, count)
    traces = [_OnGrid(np.log(grid), np.log(frequency), level) for frequency, level in (one, other)]
    x, y = traces[0].values, traces[1].values
    factors, u_factors = {}, {}
    for name, first, last in BANDS:
        inside = (grid >= first) & (grid <= last)
        if low <= first and high >= last * (1 - 1e-9) and inside.sum() >= _LEAST_POINTS:
            factors[name] = relative_factor(x[inside], y[inside])
            left = 1 - correlation(x[inside], y[inside])
            u_factors[name] = _u_correlation(traces, inside) / (left * math.log(10)) if left >= 1e-10 else math.inf
    signs = np.sign(y - x) / count
    return Likeness(
        correlation(x, y),
        float(np.mean(np.abs(y - x))),
        factors,
        (float(low), float(high)),
        _u_correlation(traces, np.ones(count, dtype=bool)),
        math.hypot(*(trace.uncertainty(signs) for trace in traces)),
        u_factors,
        _greatest(grid, y - x),
    )


def _greatest(grid: Samples, away: Samples) -> tuple[float, float]:
    place = int(np.abs(away).argmax())
    return float(grid[place]), float(abs(away[place]))


class _OnGrid:
    """One trace on the grid: values [dB], and what its noise does to a weighted sum of them."""

    def __init__(self, grid: Samples, places: Samples, level_db: Samples) -> None:
        self.values = np.interp(grid, places, level_db)
        self.noise_db = noise_of(level_db)
        self.count = len(places)
        self.first = np.clip(np.searchsorted(places, grid, side="right") - 1, 0, self.count - 2)
        self.part = (grid - places[self.first]) / (places[self.first + 1] - places[self.first])

    def uncertainty(self, weights: Samples) -> float:
        """Return the standard uncertainty of Σ w x, x being interpolated between independent samples."""
        of_samples = np.bincount(self.first, weights * (1 - self.part), self.count)
        of_samples += np.bincount(self.first + 1, weights * self.part, self.count)
        return self.noise_db * float(np.linalg.norm(of_samples))


def _u_correlation(traces: Sequence[_OnGrid], inside: NDArray[np.bool_]) -> float:
    """Return the standard uncertainty of CC: ∂CC/∂x = (b/|b| - CC a/|a|)/|a|, a and b without their means.

    At 1 the first derivative vanishes; there what noise of variance σ² takes off on average counts, Nσ²/(2 |a|²).
    """
    a, b = (trace.values[inside] - trace.values[inside].mean() for trace in traces)
    sizes = [float(np.linalg.norm(one)) for one in (a, b)]
    if not all(sizes):
        return 0.0
    cosine = float(a @ b) / (sizes[0] * sizes[1])
    own = [a / sizes[0], b / sizes[1]]
    parts, taken_off = [], 0.0
    for place, trace in enumerate(traces):
        weights = np.zeros(len(trace.values))
        weights[inside] = (own[1 - place] - cosine * own[place]) / sizes[place]
        parts.append(trace.uncertainty(weights))
        taken_off += trace.noise_db**2 * len(a) / (2 * sizes[place] ** 2)
    return math.hypot(*parts, taken_off)


def correlation(x: Samples, y: Samples) -> float:
    """Return the correlation coefficient of two traces (n,), dimensionless.

    Examples
    --------
    >>> correlation(np.array([1.0, 2.0, 4.0]), np.array([3.0, 5.0, 9.0]))
    1.0
    """
    a, b = x - x.mean(), y - y.mean()
    below = math.sqrt(float(a @ a) * float(b @ b))
    if below == 0:
        return 1.0 if np.array_equal(x, y) else 0.0
    return min(1.0, max(-1.0, float(a @ b) / below))


def relative_factor(x: Samples, y: Samples) -> float:
    """Return R = -lg(1 - LR), at most 10, of two traces (n,) in one band, dimensionless.

    Examples
    --------
    >>> relative_factor(np.array([1.0, 2.0]), np.array([1.0, 2.0]))
    10.0
    """
    left = 1 - correlation(x, y)
    return 10.0 if left < 1e-10 else -math.log10(left)
