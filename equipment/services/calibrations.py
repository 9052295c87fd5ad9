"""Enters calibrations with their points, all or nothing."""

from __future__ import annotations

import math
from calendar import monthrange
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date, timedelta
from typing import Any

from django.core.exceptions import ValidationError
from django.utils import timezone

from equipment.metrology.accuracy import judge_points
from equipment.models import Calibration, CalibrationPoint, Instrument
from equipment.models.calibration import STILL_COUNTS
from equipment.selectors.accuracy import (
    AS_FOUND,
    AS_LEFT,
    corrections_from,
    counting_points,
    error_points,
    required_of,
)
from equipment.services.found_wrong import tell_found_wrong
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
    coverage_factor: float = 2.0
    nominal: float | None = None


@dataclass(frozen=True)
class Circumstances:
    """Under what conditions a calibration was made, whether the instrument was adjusted, and how it is corrected."""

    temperature_c: float | None = None
    relative_humidity_pct: float | None = None
    conditions: str = ""
    was_adjusted: bool = False
    adjustment: str = ""
    correction_method: str = "interpolated"
    correction_use: str = "not_decided"


PLAIN = Circumstances()
LONGEST_UNIT: int = CalibrationPoint._meta.get_field("unit").max_length
Use: Any = Calibration.Use


def enter_calibration(
    *,
    instrument: Instrument,
    laboratory: str,
    certificate_number: str,
    calibrated_on: date,
    due_on: date | None = None,
    relative_uncertainty_pct: float,
    coverage_factor: float = 2.0,
    accreditation: str = "",
    verdict: str = "within",
    remarks: str = "",
    points: Sequence[Point] = (),
    circumstances: Circumstances = PLAIN,
    by: Any,
) -> Calibration:
    """Enter one calibration of an instrument with its points and one entry that lists them.

    The due date follows from the instrument's interval where none is given. Where the laboratory requires an accuracy,
    the points decide how the instrument was found and left; one found outside is told to whoever follows that up, in
    the same transaction. What the corrections are for is recorded with it. Refuses dates that cannot be, uncertainties
    that are not above zero, numbers that are none, a verdict or a use of the corrections that the points contradict,
    and a certificate that was entered before; then nothing is stored.
    """
    require_right("enter_calibration", by)
    calibration = Calibration(
        instrument=instrument,
        laboratory=laboratory.strip(),
        accreditation=accreditation.strip(),
        certificate_number=certificate_number.strip(),
        calibrated_on=calibrated_on,
        due_on=due_on or due_from_interval(calibrated_on, instrument.interval_months),
        relative_uncertainty_pct=relative_uncertainty_pct,
        coverage_factor=coverage_factor,
        verdict=verdict,
        remarks=remarks.strip(),
        entered_by=by,
        **asdict(circumstances),
    )
    _refuse_impossible(calibration)
    _refuse_bad_points(points)
    _refuse_impossible_use(calibration, points)
    with writing():
        _refuse_entered_before(calibration)
        _judge(calibration, points)
        calibration.full_clean(exclude=["instrument", "entered_by"], validate_unique=False, validate_constraints=False)
        calibration.save(force_insert=True)
        rows = [CalibrationPoint(calibration=calibration, **asdict(point)) for point in points]
        CalibrationPoint.objects.bulk_create(rows)
        _keep_latest(instrument)
        _record(calibration, points, by)
        if calibration.as_found == Calibration.AsFound.OUTSIDE:
            tell_found_wrong(calibration, by)
    return calibration


def _keep_latest(instrument: Instrument) -> None:
    """Write beside the instrument what counts from its latest calibration on, and until when each one counts.

    Shadows of the rows themselves, so without an entry.
    """
    rows = list(Calibration.objects.filter(instrument=instrument).counting_first())
    latest = rows[0]
    shadow = {
        "latest_on": latest.calibrated_on,
        "latest_due_on": latest.due_on,
        "latest_is_good": latest.verdict == Calibration.Verdict.WITHIN,
    }
    Instrument.objects.filter(pk=instrument.pk).update(**shadow)
    following = STILL_COUNTS
    for place, row in enumerate(rows):
        is_first_of_day = place == 0 or rows[place - 1].calibrated_on != row.calibrated_on
        if is_first_of_day:
            following = rows[place - 1].calibrated_on if place else STILL_COUNTS
        until = following if is_first_of_day else row.calibrated_on
        if row.counts_until != until:
            Calibration.objects.filter(pk=row.pk).update(counts_until=until)


def due_from_interval(calibrated_on: date, months: int) -> date:
    """Return the last day that a calibration covers: the day before the same day so many months later.

    A day that the month does not have becomes its last one (common practice, no source).
    """
    year, month = divmod(calibrated_on.month - 1 + months, 12)
    year, month = calibrated_on.year + year, month + 1
    day = min(calibrated_on.day, monthrange(year, month)[1])
    return date(year, month, day) - timedelta(days=1)


def _judge(calibration: Calibration, points: Sequence[Point]) -> None:
    """Say how the instrument was found from its points, and refuse a statement of how it was left that they deny."""
    required = required_of(calibration.instrument)
    calibration.as_found = judge_points(error_points(points, AS_FOUND), required).finding
    left = judge_points(error_points(points, AS_LEFT), required)
    if left.finding == "outside" and calibration.verdict == Calibration.Verdict.WITHIN:
        raise ValidationError({"verdict": f"The points deny it. {left.reason} Choose outside, or mend the points."})
    untouched = not calibration.was_adjusted and left.finding == "not_stated"
    if untouched and calibration.as_found == "outside" and calibration.verdict == Calibration.Verdict.WITHIN:
        raise ValidationError(
            {"verdict": "It was found outside what is required, not adjusted, and no points as left say it is better."}
        )


def _record(calibration: Calibration, points: Sequence[Point], by: Any) -> None:
    shown = ("as_found", "was_adjusted", "laboratory", "accreditation", "certificate_number", "calibrated_on", "due_on")
    names = (*shown, "relative_uncertainty_pct", "coverage_factor", "verdict", "remarks", "correction_use")
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
        if not 1 <= len(point.unit.strip()) <= LONGEST_UNIT:
            words = (
                f"Point {number} has the unit “{point.unit[:40]}”; state it in 1 to {LONGEST_UNIT} characters, as kV."
            )
            raise ValidationError({"points": words})
        if not (math.isfinite(point.reference) and math.isfinite(point.reading)):
            raise ValidationError({"points": f"Point {number} has a reference or a reading that is not a number."})
        if point.nominal is not None and not math.isfinite(point.nominal):
            raise ValidationError({"points": f"Point {number} has a nominal value that is not a number."})
        if not _is_above_zero(point.coverage_factor):
            raise ValidationError({"points": f"Point {number} needs a coverage factor above zero."})
        if not _is_above_zero(point.expanded_uncertainty):
            raise ValidationError({"points": f"Point {number} needs an expanded uncertainty above zero."})


def _refuse_impossible_use(calibration: Calibration, points: Sequence[Any]) -> None:
    """Refuse a use of the corrections that the points do not bear; without points there is nothing to decide."""
    use = calibration.correction_use
    counting = counting_points(points, was_adjusted=calibration.was_adjusted)
    if not use and counting:
        raise ValidationError({"correction_use": "Say what the corrections are for; it cannot be changed later."})
    calibration.correction_use = use = use or Use.NOT_DECIDED
    if use in (Use.APPLIED, Use.NOT_APPLIED):
        known = {one.unit for one in corrections_from(counting, calibration.correction_method)}
        lacking = sorted({point.unit for point in counting} - known)
        if not known or lacking:
            where = f" in {lacking[0]}" if lacking else ""
            words = f"The points{where} give no single correction at each reading. Mend them, or choose another use."
            raise ValidationError({"correction_use": words})
    if use == Use.NONE_LEFT:
        _refuse_what_is_left(counting)


def _refuse_what_is_left(points: Sequence[Any]) -> None:
    left = [point for point in points if point.moment == AS_LEFT]
    if not left:
        raise ValidationError({"correction_use": "No point as left shows that no correction is left. Add them."})
    for point in left:
        correction = point.reference - point.reading
        if abs(correction) > point.expanded_uncertainty * (1 + 1e-9):
            raise ValidationError(
                {
                    "correction_use": f"At {point.reading:.6g} {point.unit} a correction of {correction:+.3g} "
                    f"{point.unit} is left, more than its uncertainty of {point.expanded_uncertainty:.3g} {point.unit}."
                }
            )


def decide_corrections(*, calibration: Calibration, use: str, reason: str, by: Any) -> Calibration:
    """Decide what the corrections of a calibration are for where nobody has; runs listed before keep what they had.

    Refuses a calibration about which it was decided, one without points, and a use that the points do not bear.
    """
    require_right("enter_calibration", by)
    words = reason.strip()
    if not words:
        raise ValidationError({"reason": "Say why; the reason stays in the history."})
    if use not in Use.values or use == Use.NOT_DECIDED:
        raise ValidationError({"use": "Choose what the corrections are for."})
    with writing():
        row = Calibration.objects.select_for_update(of=("self",)).select_related("instrument").get(pk=calibration.pk)
        if row.correction_use != Use.NOT_DECIDED:
            raise ValidationError(f"This was decided already: {row.get_correction_use_display().lower()}.")
        points = list(row.points.all())
        if not points:
            raise ValidationError("The certificate reports no points, so there is no correction to decide about.")
        row.correction_use = use
        try:
            _refuse_impossible_use(row, points)
        except ValidationError as error:
            raise ValidationError({"use": error.messages}) from error
        row.save(update_fields=["correction_use"])
        told = {"certificate_number": [None, row.certificate_number], "correction_use": [Use.NOT_DECIDED, use]}
        action = "equipment.decide_corrections"
        record_entry(action=action, subject=row.instrument, changes=told, reason=words, by=by)
        return row


def _refuse_entered_before(calibration: Calibration) -> None:
    number = calibration.certificate_number
    entered = Calibration.objects.filter(instrument=calibration.instrument, certificate_number=number)
    if entered.exists():
        raise ValidationError({"certificate_number": f"The certificate {number} is entered already."})


def _is_above_zero(value: float) -> bool:
    return math.isfinite(value) and value > 0
