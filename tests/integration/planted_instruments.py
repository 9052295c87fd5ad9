"""Rows of the instrument room and of nonconforming work for the permission walk, past every service."""

from __future__ import annotations

import hashlib
import secrets
from typing import Any

from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.utils import timezone

from equipment.models import (
    CalibrationDraft,
    CalibrationPoint,
    CheckAlarm,
    CheckReading,
    CheckStandard,
    Instrument,
    InstrumentFile,
    InstrumentImport,
    InstrumentRange,
)
from labsite.people.models import User
from records.models import AffectedRun, CustomerLetter, NonconformingWork, Run


def plant_instrument_room(instrument: Instrument, by: User) -> dict[str, Any]:
    """Return a range, a file, a draft, an import, a check standard and its alarm of one instrument."""
    standard = CheckStandard.objects.create(
        name=f"Check {secrets.token_hex(4)}", instrument=instrument, unit="kV", reference=10.0,
        reference_uncertainty=0.05, reading_uncertainty=0.1, entered_by=by,
    )  # fmt: skip
    reading = CheckReading.objects.create(standard=standard, at=timezone.now(), value=10.4, made_by=by)
    path = default_storage.save("instruments/walk.txt", ContentFile(b"walk"))
    return {
        "standard": standard,
        "alarm": CheckAlarm.objects.create(standard=standard, reading=reading, rule="beyond", words="Beyond."),
        "range": InstrumentRange.objects.create(
            instrument=instrument, quantity=instrument.quantity, unit="kV", low=1, high=100 + standard.pk
        ),
        "instrument_file": InstrumentFile.objects.create(
            instrument=instrument, kind="other", given_name="walk.txt", path=path, size_bytes=4, added_by=by,
            sha256=hashlib.sha256(b"walk").hexdigest(),
        ),
        "draft": CalibrationDraft.objects.create(
            instrument=instrument, source="pasted", document={"fields": {}, "points": []}, read_by=by
        ),
        "import": InstrumentImport.objects.create(given_name="walk.csv", rows=[], read_by=by),
    }  # fmt: skip


def plant_nonconforming_work(run: Run, by: User) -> dict[str, Any]:
    """Return nonconforming work about the calibration of an instrument of the run, with a run in doubt and a letter."""
    calibration = run.instruments.exclude(calibration=None).first().calibration
    if not calibration.points.exists():
        CalibrationPoint.objects.create(
            calibration=calibration, moment="as_found", unit="kV", reference=10, reading=10.5, expanded_uncertainty=0.1
        )
    work, _ = NonconformingWork.objects.get_or_create(
        calibration=calibration,
        defaults={"to_on": calibration.calibrated_on, "found": "It read high.", "opened_by": by},
    )
    work.document_path = default_storage.save("nonconforming-work/walk.pdf", ContentFile(b"%PDF-1.7 walk"))
    work.save()
    customer = run.step.plan.unit.order.customer
    return {
        "work": work,
        "calibration": calibration,
        "affected": AffectedRun.objects.create(work=work, run=run, part=1.0, verdict_before="conforms"),
        "letter": CustomerLetter.objects.get_or_create(work=work, customer=customer, defaults={"text": "A draft."})[0],
    }
