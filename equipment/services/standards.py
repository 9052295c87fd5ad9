"""Check standards: entered, read day by day, alarms raised and acknowledged."""

from __future__ import annotations

import math
from datetime import datetime
from typing import Any

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.mail import send_mail
from django.db import transaction
from django.utils import timezone

from equipment.models import CheckAlarm, CheckReading, CheckStandard, Instrument
from equipment.selectors.standards import RULE_WORDS, broken_rules
from equipment.services.rights import require_right
from labsite.ledger.services import record_entry, writing
from labsite.people.models import User
from labsite.people.roles import Role


def enter_standard(
    *,
    name: str,
    instrument: Instrument,
    unit: str,
    reference: float,
    reference_uncertainty: float,
    reading_uncertainty: float,
    baseline_count: int = 10,
    by: Any,
) -> CheckStandard:
    """Enter a check standard: what an instrument reads again and again. Refuses numbers that cannot be."""
    require_right("enter_standard", by)
    if not math.isfinite(reference):
        raise ValidationError({"reference": "This must be a number."})
    for field, size in (("reference_uncertainty", reference_uncertainty), ("reading_uncertainty", reading_uncertainty)):
        if not (math.isfinite(size) and size > 0):
            raise ValidationError({field: "This must be a number above zero."})
    if not 5 <= baseline_count <= 100:
        raise ValidationError({"baseline_count": "Between 5 and 100 readings make a baseline."})
    row = CheckStandard(
        name=name.strip(),
        instrument=instrument,
        unit=unit.strip(),
        reference=reference,
        reference_uncertainty=reference_uncertainty,
        reading_uncertainty=reading_uncertainty,
        baseline_count=baseline_count,
        entered_by=by,
    )
    with writing():
        row.full_clean()
        row.save(force_insert=True)
        told = {"name": [None, row.name], "reference": [None, reference], "unit": [None, row.unit]}
        record_entry(action="equipment.enter_standard", subject=row, changes=told, by=by)
        return row


def record_reading(
    *, standard: CheckStandard, value: float, at: datetime | None = None, remarks: str = "", by: Any
) -> CheckReading:
    """Record a reading of a check standard, and raise an alarm for each rule that it breaks.

    The quality manager is told by mail after commit. A reading entered for an earlier moment is judged in its place,
    and so are those after it.
    """
    require_right("read_standard", by)
    moment = at or timezone.now()
    if not math.isfinite(value):
        raise ValidationError({"value": "This must be a number."})
    if moment > timezone.now():
        raise ValidationError({"at": "This moment has not come yet."})
    with writing():
        row = CheckReading.objects.create(
            standard=standard, at=moment, value=value, remarks=remarks.strip(), made_by=by
        )
        told = {"value": [None, value], "at": [None, moment], "unit": [None, standard.unit]}
        record_entry(action="equipment.record_reading", subject=standard, changes=told, by=by)
        raised = _raise_alarms(standard, by)
        if raised:
            transaction.on_commit(lambda: _tell(standard, raised), robust=True)
        return row


def _raise_alarms(standard: CheckStandard, by: Any) -> list[CheckAlarm]:
    readings = list(standard.readings.order_by("at", "pk"))
    known = set(standard.alarms.values_list("reading_id", "rule"))
    broken = broken_rules(standard, [reading.value for reading in readings])
    raised = [
        CheckAlarm(
            standard=standard,
            reading=reading,
            rule=rule,
            words=f"{standard.name}: {reading.value:g} {standard.unit} {RULE_WORDS[rule]}."[:300],
        )
        for reading, rules in zip(readings, broken, strict=True)
        for rule in rules
        if (reading.pk, rule) not in known
    ]
    CheckAlarm.objects.bulk_create(raised)
    for alarm in raised:
        told = {"rule": [None, alarm.rule], "words": [None, alarm.words]}
        record_entry(action="equipment.raise_alarm", subject=standard, changes=told, by=by)
    return raised


def _tell(standard: CheckStandard, alarms: list[CheckAlarm]) -> None:
    to = list(User.objects.holding(Role.QUALITY_MANAGER).values_list("email", flat=True))
    if to:
        body = "\n".join(["A check standard is out of control.", "", *(alarm.words for alarm in alarms)])
        send_mail(f"Check of {standard.instrument.identifier}: alarm", body, settings.DEFAULT_FROM_EMAIL, to)


def acknowledge_alarm(*, alarm: CheckAlarm, reason: str, by: Any) -> CheckAlarm:
    """Record what was found behind an alarm; it stays in the list. Refuses without words, and twice."""
    require_right("acknowledge_alarm", by)
    words = reason.strip()
    if not words:
        raise ValidationError({"reason": "Say what was found; it stays in the history."})
    with writing():
        row = CheckAlarm.objects.select_for_update(of=("self",)).select_related("standard").get(pk=alarm.pk)
        if row.acknowledged_at is not None:
            raise ValidationError("This alarm was acknowledged already.")
        row.acknowledged_by, row.acknowledged_at, row.acknowledged_reason = by, timezone.now(), words[:300]
        row.save(update_fields=["acknowledged_by", "acknowledged_at", "acknowledged_reason"])
        told = {"alarm": [row.words, "acknowledged"]}
        record_entry(action="equipment.acknowledge_alarm", subject=row.standard, changes=told, reason=words, by=by)
        return row
