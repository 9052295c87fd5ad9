"""Correction curves of a calibration: interpolated or a straight line, and never beyond the calibrated range."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from equipment.metrology.lines import Line, fit_line

Column = NDArray[np.float64]


class OutsideCalibratedRange(ValueError):
    """A reading lies outside the range in which the calibration is valid."""


@dataclass(frozen=True)
class CorrectionPoint:
    """One point of a calibration: ``correction`` is what has to be added to the reading [unit of the reading].

    Raises ValueError where a number is not finite or an uncertainty or the coverage factor is out of range.
    """

    reading: float
    correction: float
    expanded_uncertainty: float
    coverage_factor: float = 2.0

    def __post_init__(self) -> None:
        if not all(math.isfinite(number) for number in vars(self).values()):
            raise ValueError("Every number of a calibration point must be finite.")
        if self.expanded_uncertainty < 0 or self.coverage_factor <= 0:
            raise ValueError("The uncertainty must be at least 0 and the coverage factor above 0.")


@dataclass(frozen=True)
class Corrected:
    """A corrected reading with the standard uncertainty of its correction [unit of the reading]."""

    value: float
    correction: float
    standard_uncertainty: float


@dataclass(frozen=True)
class CorrectionCurve:
    """Points in order of reading, with the range in which they may be used; made by `correction_curve`."""

    points: tuple[CorrectionPoint, ...]
    valid_from: float
    valid_to: float

    def is_valid_at(self, reading: float) -> bool:
        """Tell whether a reading lies in the calibrated range, ends included."""
        return self.valid_from <= reading <= self.valid_to

    def apply(self, reading: float) -> Corrected:
        """Return a reading with its correction, linear between the two neighbouring points.

        Parameters
        ----------
        reading : float
            What the instrument showed [its unit].

        Returns
        -------
        Corrected
            The uncertainty is the greater of the two neighbours', since points of one calibration share their
            reference and so do not average out.

        Raises
        ------
        OutsideCalibratedRange
            The reading is NaN or outside the range.

        References
        ----------
        Common practice, no source.
        """
        if not self.is_valid_at(reading):
            range_text = f"{self.valid_from:g} to {self.valid_to:g}"
            raise OutsideCalibratedRange(f"{reading:g} lies outside the calibrated range, {range_text}.")
        after = bisect_left([point.reading for point in self.points], reading)
        above = self.points[min(after, len(self.points) - 1)]
        below = above if above.reading <= reading or after == 0 else self.points[after - 1]
        correction = above.correction
        if below is not above:
            part = (reading - below.reading) / (above.reading - below.reading)
            correction = below.correction + part * (above.correction - below.correction)
        u = max(point.expanded_uncertainty / point.coverage_factor for point in (below, above))
        return Corrected(reading + correction, correction, u)

    def corrections_at(self, readings: ArrayLike) -> Column:
        """Return the correction of each reading, shape (n,) [unit of the reading]; beyond the range it is NaN."""
        given = np.asarray(readings, dtype=float)
        found = np.interp(given, [p.reading for p in self.points], [p.correction for p in self.points])
        return _inside(self, given, found)

    def reading_of(self, value: float) -> float:
        """Return the reading that is corrected to a value [unit of the reading]; beyond the range that of its end.

        Of a curve so steep that corrected readings do not rise, one of the readings that fit.
        """
        readings = [self.valid_from, *(p.reading for p in self.points), self.valid_to]
        inside = sorted(one for one in set(readings) if self.is_valid_at(one))
        values = np.array(inside) + self.corrections_at(inside)
        return float(np.interp(value, np.maximum.accumulate(values), inside))


def _inside(curve: CorrectionCurve | CorrectionLine, given: Column, found: Column) -> Column:
    held: Column = np.where((given >= curve.valid_from) & (given <= curve.valid_to), found, np.nan)
    return held


@dataclass(frozen=True)
class CorrectionLine:
    """A straight line of corrections over readings with its covariance; made by `correction_line`."""

    points: tuple[CorrectionPoint, ...]
    line: Line
    valid_from: float
    valid_to: float

    def is_valid_at(self, reading: float) -> bool:
        """Tell whether a reading lies in the calibrated range, ends included."""
        return self.valid_from <= reading <= self.valid_to

    def apply(self, reading: float) -> Corrected:
        """Return a reading with its correction, by the line.

        Parameters
        ----------
        reading : float
            What the instrument showed [its unit].

        Returns
        -------
        Corrected
            u² = u²(a) + x² u²(b) + 2 x cov(a, b) with x the reading, but no less than the smallest standard
            uncertainty of a point: points of one calibration share their reference, so a fit does not average it out.

        Raises
        ------
        OutsideCalibratedRange
            The reading is NaN or outside the range.

        References
        ----------
        The covariance: JCGM 100:2008, H.3 (from memory); the floor: common practice, no source.
        """
        if not self.is_valid_at(reading):
            range_text = f"{self.valid_from:g} to {self.valid_to:g}"
            raise OutsideCalibratedRange(f"{reading:g} lies outside the calibrated range, {range_text}.")
        predicted = self.line.at(reading)
        floor = min(point.expanded_uncertainty / point.coverage_factor for point in self.points)
        return Corrected(reading + predicted.value, predicted.value, max(predicted.standard_uncertainty, floor))

    def corrections_at(self, readings: ArrayLike) -> Column:
        """Return the correction of each reading, shape (n,) [unit of the reading]; beyond the range it is NaN."""
        given = np.asarray(readings, dtype=float)
        return _inside(self, given, self.line.intercept + self.line.slope * given)

    def reading_of(self, value: float) -> float:
        """Return the reading that is corrected to a value [unit of the reading]; beyond the range that of its end."""
        if self.line.slope <= -1:  # corrected readings do not rise: no instrument, but no division by zero either
            return self.valid_from
        reading = (value - self.line.intercept) / (1 + self.line.slope)
        return min(max(reading, self.valid_from), self.valid_to)


def correction_line(points: Sequence[CorrectionPoint]) -> CorrectionLine:
    """Fit the corrections of a calibration by a straight line, weighted by the uncertainties of the points.

    Parameters
    ----------
    points : sequence of CorrectionPoint, shape (n,)
        In any order, at least three, each with an uncertainty above 0.

    Returns
    -------
    CorrectionLine
        Valid from the lowest reading to the highest.

    Raises
    ------
    ValueError
        Fewer than three points, all at one reading, or an uncertainty of 0.

    Examples
    --------
    >>> line = correction_line([CorrectionPoint(x, 0.01 * x, 0.2) for x in (10, 20, 30)])
    >>> round(line.apply(15).correction, 12), line.apply(15).standard_uncertainty
    (0.15, 0.1)
    """
    ordered = tuple(sorted(points, key=lambda point: point.reading))
    fitted = fit_line(
        [point.reading for point in ordered],
        [point.correction for point in ordered],
        [point.expanded_uncertainty / point.coverage_factor for point in ordered],
    )
    return CorrectionLine(ordered, fitted, ordered[0].reading, ordered[-1].reading)


def correction_curve(
    points: Sequence[CorrectionPoint], *, valid_from: float | None = None, valid_to: float | None = None
) -> CorrectionCurve:
    """Build a correction curve.

    Parameters
    ----------
    points : sequence of CorrectionPoint, shape (n,)
        In any order, at least one, each reading once.
    valid_from, valid_to : float, optional
        Range stated by the calibration; outside the outermost points their correction holds. Where not given, the
        outermost points [unit of the reading].

    Returns
    -------
    CorrectionCurve
        Frozen.

    Raises
    ------
    ValueError
        No points, a reading twice, or an empty range.

    Examples
    --------
    >>> curve = correction_curve([CorrectionPoint(10, 0.1, 0.02), CorrectionPoint(20, 0.3, 0.04)])
    >>> curve.apply(15)
    Corrected(value=15.2, correction=0.2, standard_uncertainty=0.02)
    """
    ordered = tuple(sorted(points, key=lambda point: point.reading))
    if not ordered:
        raise ValueError("A correction curve needs at least one point.")
    if any(one.reading == other.reading for one, other in pairwise(ordered)):
        raise ValueError("Each reading may occur once in a correction curve.")
    low = ordered[0].reading if valid_from is None else valid_from
    high = ordered[-1].reading if valid_to is None else valid_to
    if not low <= high:
        raise ValueError("The calibrated range is empty.")
    return CorrectionCurve(ordered, low, high)
