"""A calibration against the accuracy required, and the curves that follow from its points."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from equipment.metrology.accuracy import (
    AccuracyStatement,
    ErrorCurve,
    ErrorPoint,
    RequiredAccuracy,
    error_curve,
    judge_points,
)
from equipment.metrology.corrections import (
    CorrectionCurve,
    CorrectionLine,
    CorrectionPoint,
    correction_curve,
    correction_line,
)
from equipment.metrology.lines import Line
from equipment.models import Calibration, CalibrationDraft, CalibrationPoint, Instrument

AS_FOUND, AS_LEFT = CalibrationPoint.Moment.AS_FOUND, CalibrationPoint.Moment.AS_LEFT


@dataclass(frozen=True)
class Corrections:
    """The corrections that a calibration left in one unit: interpolated, or a straight line with its covariance."""

    unit: str
    curve: CorrectionCurve | CorrectionLine

    @property
    def line(self) -> Line | None:
        """Return the straight line, or None where they are interpolated."""
        return self.curve.line if isinstance(self.curve, CorrectionLine) else None

    @property
    def words(self) -> str:
        """Return how they are used, with the range in which they hold."""
        how = "straight line" if self.line else "interpolated"
        return f"{how}, valid from {self.curve.valid_from:g} to {self.curve.valid_to:g} {self.unit}"

    def as_used(self) -> dict[str, Any]:
        """Return them as a set-up carries them, for the evaluation and for whoever recomputes it."""
        points = [
            {
                "reading": point.reading,
                "correction": point.correction,
                "expanded_uncertainty": point.expanded_uncertainty,
                "coverage_factor": point.coverage_factor,
            }
            for point in self.curve.points
        ]
        return {"unit": self.unit, "method": "line" if self.line else "interpolated", "points": points}


def required_of(instrument: Instrument) -> list[RequiredAccuracy]:
    """Return what accuracy the laboratory requires of an instrument, from its prefetched ranges."""
    return [
        RequiredAccuracy(row.unit, row.low, row.high, row.accuracy_pct, row.accuracy_absolute)
        for row in instrument.ranges.all()
        if row.has_accuracy
    ]


def error_points(points: Iterable, moment: str) -> list[ErrorPoint]:
    """Return the points of one moment as errors; takes rows or what is about to become rows."""
    return [
        ErrorPoint(point.unit, point.reference, point.reading, point.expanded_uncertainty)
        for point in points
        if point.moment == moment
    ]


def accuracy_of(calibration: Calibration, moment: str, required: list[RequiredAccuracy]) -> AccuracyStatement:
    """Return how the points of a calibration, as found or as left, stand against the accuracy required."""
    return judge_points(error_points(calibration.points.all(), moment), required)


def counting_points(calibration: Calibration) -> list[CalibrationPoint]:
    """Return the points that hold from the calibration on: as left; as found where nothing else is reported."""
    points = list(calibration.points.all())
    left = [point for point in points if point.moment == AS_LEFT]
    return left or ([] if calibration.was_adjusted else points)


def corrections_of(calibration: Calibration) -> list[Corrections]:
    """Return the corrections that hold from a calibration on, one for each unit of its points."""
    by_unit: dict[str, list[CalibrationPoint]] = {}
    for point in counting_points(calibration):
        by_unit.setdefault(point.unit, []).append(point)
    made = (_corrections(unit, points, calibration.correction_method) for unit, points in by_unit.items())
    return [found for found in made if found is not None]


def _corrections(unit: str, points: list[CalibrationPoint], method: str) -> Corrections | None:
    read = [CorrectionPoint(p.reading, p.correction, p.expanded_uncertainty, p.coverage_factor) for p in points]
    is_line = method == Calibration.Correction.LINE and len(read) >= 3
    try:
        return Corrections(unit, correction_line(read) if is_line else correction_curve(read))
    except ValueError:  # one reading twice, or no line: the certificate gives no single correction there
        return None


def errors_as(calibration: Calibration | None, moment: str, unit: str) -> ErrorCurve | None:
    """Return the errors that a calibration found or left in one unit, or None where it reports none."""
    if calibration is None:
        return None
    points = [point for point in error_points(calibration.points.all(), moment) if point.unit == unit]
    return error_curve(points) if points else None


def told_calibrations(instrument: Instrument) -> list[tuple[Calibration, list[Corrections], AccuracyStatement]]:
    """Return the prefetched calibrations of an instrument with their corrections and how they found it."""
    required = required_of(instrument)
    return [(row, corrections_of(row), accuracy_of(row, AS_FOUND, required)) for row in instrument.calibrations.all()]


def waiting_drafts(instrument: Instrument) -> list[CalibrationDraft]:
    """Return the prefetched drafts that nobody has confirmed or set aside."""
    return [row for row in instrument.drafts.all() if row.calibration_id is None and row.set_aside_at is None]
