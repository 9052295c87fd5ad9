"""Enters calibrations with their points, all or nothing."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date
from typing import Any

from django.core.exceptions import ValidationError
from django.utils import timezone

from equipment.models import Calibration, CalibrationPoint, Instrument
from equipment.services.rights import require_right
from labsite.ledger.services import record_entry, writing


@dataclass(frozen=True)
class Point:
    """One line of a calibration certificate; `moment` is as_found or as_left."""

    moment: str
    unit: str
    reference: float
    reading: float
    expanded_uncertainty: float


def enter_calibration(
    *,
    instrument: Instrument,
    laboratory: str,
    certificate_number: str,
    calibrated_on: date,
    due_on: date,
    relative_uncertainty_pct: float,
    coverage_factor: float = 2.0,
    accreditation: str = "",
    verdict: str = "within",
    remarks: str = "",
    points: Sequence[Point] = (),
    by: Any,
) -> Calibration:
    """Enter one calibration of an instrument with its points and one entry that lists them.

    Refuses dates that cannot be, uncertainties that are not above zero, numbers that are none, and a certificate that
    was entered before; then nothing is stored.
    """
    require_right("enter_calibration", by)
    calibration = Calibration(
        instrument=instrument,
        laboratory=laboratory.strip(),
        accreditation=accreditation.strip(),
        certificate_number=certificate_number.strip(),
        calibrated_on=calibrated_on,
        due_on=due_on,
        relative_uncertainty_pct=relative_uncertainty_pct,
        coverage_factor=coverage_factor,
        verdict=verdict,
        remarks=remarks.strip(),
        entered_by=by,
    )
    _refuse_impossible(calibration)
    _refuse_bad_points(points)
    with writing():
        _refuse_entered_before(calibration)
        calibration.full_clean(exclude=["instrument", "entered_by"], validate_unique=False, validate_constraints=False)
        calibration.save(force_insert=True)
        rows = [CalibrationPoint(calibration=calibration, **asdict(point)) for point in points]
        CalibrationPoint.objects.bulk_create(rows)
        _record(calibration, points, by)
    return calibration


def _record(calibration: Calibration, points: Sequence[Point], by: Any) -> None:
    shown = ("laboratory", "accreditation", "certificate_number", "calibrated_on", "due_on", "relative_uncertainty_pct")
    names = (*shown, "coverage_factor", "verdict", "remarks")
    changes: dict[str, Any] = {name: [None, getattr(calibration, name)] for name in names}
    changes["points"] = [None, [asdict(point) for point in points]]
    action = "equipment.enter_calibration"
    record_entry(action=action, subject=calibration.instrument, changes=changes, by=by)


def _refuse_impossible(calibration: Calibration) -> None:
    wrong: dict[str, str] = {}
    if calibration.calibrated_on > timezone.localdate():
        wrong["calibrated_on"] = f"The day {calibration.calibrated_on} has not come yet."
    if calibration.due_on <= calibration.calibrated_on:
        wrong["due_on"] = f"The due date {calibration.due_on} must lie after {calibration.calibrated_on}."
    for name in ("relative_uncertainty_pct", "coverage_factor"):
        if not _is_above_zero(getattr(calibration, name)):
            wrong[name] = "This must be a number above zero."
    if wrong:
        raise ValidationError(wrong)


def _refuse_bad_points(points: Sequence[Point]) -> None:
    for number, point in enumerate(points, start=1):
        if point.moment not in CalibrationPoint.Moment.values:
            raise ValidationError({"points": f"Point {number} is neither as found nor as left."})
        if not (math.isfinite(point.reference) and math.isfinite(point.reading)):
            raise ValidationError({"points": f"Point {number} has a reference or a reading that is not a number."})
        if not _is_above_zero(point.expanded_uncertainty):
            raise ValidationError({"points": f"Point {number} needs an expanded uncertainty above zero."})


def _refuse_entered_before(calibration: Calibration) -> None:
    number = calibration.certificate_number
    entered = Calibration.objects.filter(instrument=calibration.instrument, certificate_number=number)
    if entered.exists():
        raise ValidationError({"certificate_number": f"The certificate {number} is entered already."})


def _is_above_zero(value: float) -> bool:
    return math.isfinite(value) and value > 0
