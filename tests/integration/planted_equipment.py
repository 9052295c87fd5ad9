"""One of everything that hangs on an instrument, for walks over all addresses."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.utils import timezone

from equipment.models import (
    CalibrationDraft,
    CheckAlarm,
    CheckReading,
    CheckStandard,
    Instrument,
    InstrumentImport,
    InstrumentRange,
    ReminderDigest,
)
from equipment.services import keep_file
from records.models import AffectedRun, CustomerLetter, NonconformingWork, Run


def equipment_things(instrument: Instrument, run: Run, by: Any, letter: str) -> dict[str, Any]:
    """Return range, file, draft, check standard, alarm, import, and nonconforming work with its run and letter."""
    standard = CheckStandard.objects.create(
        name=f"Walk {letter}", instrument=instrument, unit="kV", reference=1.0, reference_uncertainty=0.1,
        reading_uncertainty=0.1, entered_by=by,
    )  # fmt: skip
    reading = CheckReading.objects.create(standard=standard, at=timezone.now(), value=2.0, made_by=by)
    customer = run.step.plan.unit.order.customer
    calibration = instrument.calibrations.first()
    work = NonconformingWork.objects.get_or_create(
        calibration=calibration,
        defaults={"to_on": calibration.calibrated_on, "found": "walk", "state": "to_decide", "opened_by": by},
    )[0]
    content = {"given_name": "walk.txt", "content": letter.encode()}
    file = keep_file(instrument=instrument, kind="other", **content, by=by)
    NonconformingWork.objects.filter(pk=work.pk).update(document_path=file.path, document_sha256=file.sha256)
    return {
        "range": InstrumentRange.objects.create(
            instrument=instrument, quantity="voltage", unit="kV", low=0, high=ord(letter)
        ),
        "file": file,
        "draft": CalibrationDraft.objects.create(
            instrument=instrument, source="pasted", document={"fields": {}, "points": []}, read_by=by
        ),
        "standard": standard,
        "alarm": CheckAlarm.objects.create(standard=standard, reading=reading, rule="en", words="walk"),
        "import": InstrumentImport.objects.create(given_name="walk.csv", sha256="0" * 64, rows=[], read_by=by),
        "calibration": calibration,
        "digest": ReminderDigest.objects.create(
            user=by, on=timezone.localdate(), subject="walk", body="walk",
            message_id=f"<walk-{letter}@withstand.example>", begun_at=timezone.now() - timedelta(hours=1),
        ),
        "work": work,
        "affected": AffectedRun.objects.create(work=work, run=run, part=1.0),
        "letter": CustomerLetter.objects.create(work=work, customer=customer, text=f"walk {run.number}"),
    }  # fmt: skip
