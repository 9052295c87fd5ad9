"""Correction curves of a calibration: interpolated between its points, never beyond them."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise


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
