"""How well the parameters of an impulse are known: from noise, and from where the recorder's steps may lie."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from records.readers.recording import Samples

_INSIDE = math.erf(math.sqrt(2))
_NONE = 1e-3  # of the whole: a normal part smaller than this is none


@dataclass(frozen=True)
class Value:
    """One parameter and how well it is known without the instruments, in one unit; or why it has no value.

    Attributes
    ----------
    value : float or None
        Best estimate; None where there is none.
    standard_uncertainty : float
        u.
    words : str
        Why there is no value.
    coverage_factor : float
        k with which k u holds 95.45 %, dimensionless; below 2 where the place of the recorder's steps decides.
    """

    value: float | None
    standard_uncertainty: float = 0.0
    words: str = ""
    coverage_factor: float = 2.0

    @property
    def expanded_uncertainty(self) -> float:
        """U = k u."""
        return self.coverage_factor * self.standard_uncertainty

    def with_relative(self, relative: float) -> tuple[float, float]:
        """Return U and k with a normally distributed relative standard uncertainty beside the value's own.

        What is added in a sum of independent errors and vanishes for normal ones is the fourth cumulant: the share of
        the variance squared is what is left of k - 2.

        References
        ----------
        The interpolation is our own; EA-4/02 M:2013 states k = 1.65 where a rectangular contribution alone decides
        (from memory).

        Examples
        --------
        >>> Value(100.0, 1.0, coverage_factor=1.65).with_relative(0.0)
        (1.65, 1.65)
        """
        own = self.standard_uncertainty
        whole = math.hypot(own, relative * (self.value or 0.0))
        k = 2 + (self.coverage_factor - 2) * ((own / whole) ** 4 if whole else 0.0)
        return k * whole, k


@dataclass(frozen=True)
class Errors:
    """What is known of one parameter's error: what the place of the steps makes of it, and what noise adds.

    Attributes
    ----------
    drawn : ndarray (m,)
        One error in each draw of the steps' place [unit of the parameter].
    spread : float
        Standard deviation of what comes beside them, normally distributed [same unit].
    """

    drawn: Samples
    spread: float

    @property
    def standard(self) -> float:
        """Standard uncertainty [unit of the parameter]."""
        return math.hypot(float(np.sqrt(np.mean(self.drawn**2))), self.spread)

    @property
    def coverage_factor(self) -> float:
        """k with which k u holds 95.45 % of the errors, dimensionless: 1.65 where all are equally likely, 2 normally.

        References
        ----------
        JCGM 101:2008, 7.7: the interval from the distribution itself (from memory).
        """
        away, spread = np.abs(self.drawn), self.spread
        if self.standard == 0:
            return 2.0
        if spread < _NONE * self.standard:
            return float(np.quantile(away, _INSIDE)) / self.standard
        low, high = 0.0, float(away.max()) + 4 * spread
        for _ in range(40):
            half = (low + high) / 2
            inside = float(np.mean(ndtr((half - away) / spread) - ndtr((-half - away) / spread)))
            low, high = (half, high) if inside < _INSIDE else (low, half)
        return half / self.standard


@dataclass(frozen=True)
class Spread:
    """What is known of the errors of several readings together.

    Attributes
    ----------
    covariance : ndarray (m, m)
        Of what noise does to them [units of the readings].
    drawn : ndarray (d, m) or None
        What the place of the steps does to them in each draw; None where rounding is noise like any other.
    """

    covariance: NDArray[np.float64]
    drawn: NDArray[np.float64] | None = None

    def through(self, by: NDArray[np.float64]) -> Spread:
        """Return the errors of what follows from the readings with derivatives `by`, an ndarray (n, m)."""
        return Spread(by @ self.covariance @ by.T, None if self.drawn is None else self.drawn @ by.T)

    def beside(self, common: float, first: Samples | None) -> Spread:
        """Return the same with a further standard deviation of each reading, and the draws (d,) of the first."""
        drawn = self.drawn
        if drawn is not None and first is not None:
            drawn = np.column_stack([first, drawn[:, 1:]])
        return Spread(self.covariance + common**2 * np.eye(len(self.covariance)), drawn)

    def known(self, value: float, weights: Samples, beside: float = 0.0) -> Value:
        """Return a value that depends on the readings by `weights` (m,), with a further standard uncertainty."""
        u = math.hypot(math.sqrt(max(float(weights @ self.covariance @ weights), 0.0)), beside)
        if self.drawn is None:
            return Value(value, u)
        errors = Errors(self.drawn @ weights, u)
        return Value(value, errors.standard, coverage_factor=errors.coverage_factor)
