"""A calibration against the accuracy required, and the curves that follow from its points."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.db.models import Exists, F, OuterRef, QuerySet

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

    @property
    def span(self) -> str:
        """Return the least and the greatest correction of the points, with the range in which they hold."""
        shifts = [point.correction for point in self.curve.points]
        low, high = f"{min(shifts):+.3g}", f"{max(shifts):+.3g}"
        shown = low if low == high else f"{low} to {high}"
        return f"{shown} {self.unit} from {self.curve.valid_from:.6g} to {self.curve.valid_to:.6g} {self.unit}"


@dataclass(frozen=True)
class CorrectionsUsed:
    """What a run that lists an instrument on its own does with the corrections of its calibration.

    `words` is for people; `curves` is what a set-up carries, and empty where the evaluation has nothing to do.
    """

    words: str
    curves: tuple[dict[str, Any], ...] = ()


def corrections_used(calibration: Calibration) -> CorrectionsUsed:
    """Return what was decided about the corrections of a calibration, and the curves that follow from it."""
    use, known = calibration.correction_use, corrections_of(calibration)
    named = calibration.certificate_number
    if use == Calibration.Use.NONE_LEFT:
        return CorrectionsUsed(f"Adjusted; {named} leaves no correction.")
    if not known:
        return CorrectionsUsed("")
    if use not in (Calibration.Use.APPLIED, Calibration.Use.NOT_APPLIED):
        return CorrectionsUsed(f"What the corrections of {named} are for is not decided; they are not applied.")
    spans = "; ".join(one.span for one in known)
    is_applied = use == Calibration.Use.APPLIED
    words = f"Corrected by {named}: {spans}." if is_applied else f"Not corrected; it counts as uncertainty: {spans}."
    curves = tuple({**one.as_used(), "use": str(use), "certificate": named} for one in known)
    return CorrectionsUsed(words, curves)


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


def counting_points(points: Iterable, *, was_adjusted: bool) -> list:
    """Return the points that hold from a calibration on: as left; as found where nothing else is reported.

    Takes rows or what is about to become rows.
    """
    known = list(points)
    left = [point for point in known if point.moment == AS_LEFT]
    return left or ([] if was_adjusted else known)


def corrections_of(calibration: Calibration) -> list[Corrections]:
    """Return the corrections that hold from a calibration on, one for each unit of its points."""
    points = counting_points(calibration.points.all(), was_adjusted=calibration.was_adjusted)
    return corrections_from(points, calibration.correction_method)


def corrections_from(points: Iterable, method: str) -> list[Corrections]:
    """Return the corrections that points give, one for each unit in which there is a single one at each reading."""
    by_unit: dict[str, list] = {}
    for point in points:
        by_unit.setdefault(point.unit, []).append(point)
    made = (_corrections(unit, rows, method) for unit, rows in by_unit.items())
    return [found for found in made if found is not None]


def _corrections(unit: str, points: list, method: str) -> Corrections | None:
    read = [
        CorrectionPoint(p.reading, p.reference - p.reading, p.expanded_uncertainty, p.coverage_factor) for p in points
    ]
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


def undecided_corrections(viewer: Any) -> QuerySet[Calibration]:
    """Return the latest calibrations with points of which nobody has decided what their corrections are for."""
    instruments = Instrument.objects.visible_to(viewer).not_retired()
    with_points = CalibrationPoint.objects.filter(calibration=OuterRef("pk"))
    rows = Calibration.objects.filter(
        Exists(with_points),
        instrument__in=instruments,
        correction_use=Calibration.Use.NOT_DECIDED,
        calibrated_on=F("instrument__latest_on"),
    )
    return rows.select_related("instrument").order_by("instrument__identifier", "certificate_number")


def waiting_drafts(instrument: Instrument) -> list[CalibrationDraft]:
    """Return the prefetched drafts that nobody has confirmed or set aside."""
    return [row for row in instrument.drafts.all() if row.calibration_id is None and row.set_aside_at is None]
