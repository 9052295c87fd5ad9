"""Calibration straight line by least squares, with the full covariance of its two parameters."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Column = NDArray[np.float64]


@dataclass(frozen=True)
class Predicted:
    """A value with its standard uncertainty, in the unit of what was predicted."""

    value: float
    standard_uncertainty: float


@dataclass(frozen=True)
class Line:
    """A fitted line y = intercept + slope x.

    Attributes
    ----------
    intercept : float
        [unit of y].
    slope : float
        [unit of y per unit of x].
    intercept_uncertainty, slope_uncertainty : float
        Standard uncertainties of the two.
    covariance : float
        Covariance of intercept and slope [unit of y squared per unit of x].
    residual_deviation : float
        √(Σ w r² / (n − 2)): [unit of y], or dimensionless (about 1) where uncertainties of y were given.
    r_squared : float
        Coefficient of determination; NaN where all y are equal.
    degrees_of_freedom : int
        n − 2.
    x_min, x_max : float
        Range of the points [unit of x].
    """

    intercept: float
    slope: float
    intercept_uncertainty: float
    slope_uncertainty: float
    covariance: float
    residual_deviation: float
    r_squared: float
    degrees_of_freedom: int
    x_min: float
    x_max: float
    _centre: float
    _level_variance: float
    _level: float

    def at(self, x: float) -> Predicted:
        """Return the line at x with its standard uncertainty (that of the line, not of a new observation).

        Parameters
        ----------
        x : float
            Finite [unit of x]; outside ``x_min`` to ``x_max`` the answer extrapolates.

        Returns
        -------
        Predicted
            u² = u²(a) + x² u²(b) + 2 x cov(a, b), computed about the centre of the points [unit of y].

        Raises
        ------
        ValueError
            x is not finite.
        """
        if not math.isfinite(x):
            raise ValueError("x must be a finite number.")
        distance = x - self._centre
        u = math.hypot(math.sqrt(self._level_variance), distance * self.slope_uncertainty)
        return Predicted(self._level + self.slope * distance, u)

    def solved_for(self, y: float, y_uncertainty: float = 0.0) -> Predicted:
        """Return the x at which the line has the value y: how a calibrated instrument's reading is used.

        Parameters
        ----------
        y : float
            Finite [unit of y].
        y_uncertainty : float
            Standard uncertainty of y, independent of the line [unit of y].

        Returns
        -------
        Predicted
            x = (y − a) / b, with first-order uncertainty [unit of x].

        Raises
        ------
        ValueError
            y is not finite, its uncertainty is negative or not finite, or the slope is 0.
        """
        if not (math.isfinite(y) and math.isfinite(y_uncertainty) and y_uncertainty >= 0):
            raise ValueError("y must be finite and its uncertainty a finite number, at least 0.")
        if self.slope == 0:
            raise ValueError("A line without slope cannot be solved for x.")
        x = self._centre + (y - self._level) / self.slope
        return Predicted(x, math.hypot(self.at(x).standard_uncertainty, y_uncertainty) / abs(self.slope))


def _columns(x: ArrayLike, y: ArrayLike, y_uncertainty: ArrayLike | None) -> tuple[Column, Column, Column]:
    abscissae, ordinates = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    errors = np.ones_like(ordinates) if y_uncertainty is None else np.asarray(y_uncertainty, dtype=float)
    if abscissae.ndim != 1 or abscissae.shape != ordinates.shape or abscissae.shape != errors.shape:
        raise ValueError("x, y and the uncertainties must be lists of the same length.")
    if abscissae.size < 3:
        raise ValueError("A line with its uncertainty needs at least 3 points.")
    if not all(np.isfinite(column).all() for column in (abscissae, ordinates, errors)):
        raise ValueError("Every x, y and uncertainty must be a finite number.")
    if not (errors > 0).all():
        raise ValueError("Every uncertainty must be above 0.")
    return abscissae, ordinates, errors


def fit_line(x: ArrayLike, y: ArrayLike, y_uncertainty: ArrayLike | None = None) -> Line:
    """Fit y = a + b x by least squares.

    Parameters
    ----------
    x : array_like, shape (n,)
        Abscissae, taken as exact; at least 3 points, not all at one x.
    y : array_like, shape (n,)
        Ordinates.
    y_uncertainty : array_like, shape (n,), optional
        Standard uncertainties of y, all above 0 [unit of y]. With them the points are weighted by 1/u² and the
        uncertainties of the line follow from them; without, from the scatter about the line.

    Returns
    -------
    Line
        Frozen.

    Raises
    ------
    ValueError
        Shapes differ, fewer than 3 points, a number is not finite, an uncertainty is not above 0, or all x are equal.

    Notes
    -----
    x is centred on its weighted mean and scaled by its spread, which keeps all digits (plain normal equations lose
    half of them). In the centred form level and slope are uncorrelated.

    References
    ----------
    JCGM 100:2008, H.3 (from memory); NIST Statistical Reference Datasets, Norris.

    Examples
    --------
    >>> line = fit_line([0, 1, 2], [1, 3, 5])
    >>> (line.intercept, line.slope, line.residual_deviation)
    (1.0, 2.0, 0.0)
    """
    abscissae, ordinates, errors = _columns(x, y, y_uncertainty)
    weights = (errors.min() / errors) ** 2
    total = float(weights.sum())
    centre = float(weights @ abscissae) / total
    from_centre = abscissae - centre
    scale = float(np.abs(from_centre).max())
    if scale <= 1e-14 * float(np.abs(abscissae).max()):
        raise ValueError("All points lie at one x, so there is no line.")
    scaled = from_centre / scale
    shift = float(weights @ scaled) / total  # what rounding of the mean left over
    scaled -= shift
    centre += shift * scale
    spread = float(weights @ scaled**2)
    level = float(weights @ ordinates) / total
    from_level = ordinates - level
    tilt = float((weights * scaled) @ from_level) / spread
    residuals = from_level - tilt * scaled
    freedom = abscissae.size - 2
    chi_squared = float(weights @ residuals**2)
    variance = chi_squared / freedom if y_uncertainty is None else float(errors.min()) ** 2
    around = float(weights @ from_level**2)
    slope, slope_variance = tilt / scale, variance / spread / scale**2
    return Line(
        intercept=level - slope * centre,
        slope=slope,
        intercept_uncertainty=math.sqrt(variance / total + centre**2 * slope_variance),
        slope_uncertainty=math.sqrt(slope_variance),
        covariance=-centre * slope_variance,
        residual_deviation=math.sqrt(chi_squared / freedom) / float(errors.min()),
        r_squared=1 - chi_squared / around if around else math.nan,
        degrees_of_freedom=freedom,
        x_min=float(abscissae.min()),
        x_max=float(abscissae.max()),
        _centre=centre,
        _level_variance=variance / total,
        _level=level,
    )
