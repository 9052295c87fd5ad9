"""What is kept of an instrument beside its calibrations: log, custody, ranges and files."""

from __future__ import annotations

import hashlib
import math
import os
import tempfile
from datetime import date
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.exceptions import ValidationError
from django.utils import timezone

from equipment.models import Calibration, Instrument, InstrumentFile, InstrumentRange, LogEntry
from equipment.services.rights import require_right
from labsite.ledger.services import change_fields, record_entry, writing

MOST_FILE_BYTES = 20 * 2**20


def log_event(*, instrument: Instrument, kind: str, on: date, text: str, by: Any) -> LogEntry:
    """Write what was done to an instrument or befell it on a day. Refuses a day to come and an empty text."""
    require_right("log_event", by)
    if kind not in LogEntry.Kind.values or kind == LogEntry.Kind.CUSTODY:
        raise ValidationError({"kind": "Choose what it was."})
    return _logged(instrument, kind, on, text, by)


def hand_over(*, instrument: Instrument, version: int, custodian: str, location: str, on: date, by: Any) -> Instrument:
    """Give an instrument into someone's hands at a place from a day on; the log keeps who had it before."""
    require_right("hand_over", by)
    keeper, place = custodian.strip(), location.strip()
    if not keeper:
        raise ValidationError({"custodian": "Say who keeps it now."})
    with writing():
        text = f"Kept by {keeper}" + (f", at {place}" if place else "") + "."
        _logged(instrument, LogEntry.Kind.CUSTODY, on, text, by)
        changes = {"custodian": keeper, "location": place}
        action = "equipment.hand_over"
        return change_fields(instance=instrument, version=version, changes=changes, action=action, by=by)


def _logged(instrument: Instrument, kind: Any, on: date, text: str, by: Any) -> LogEntry:
    words = text.strip()
    if not words:
        raise ValidationError({"text": "Say what it was; an empty line tells nobody anything."})
    if on > timezone.localdate():
        raise ValidationError({"on": f"The day {on} has not come yet."})
    with writing():
        row = LogEntry.objects.create(instrument=instrument, kind=kind, on=on, text=words, entered_by=by)
        told = {"kind": [None, kind], "on": [None, on], "text": [None, words]}
        record_entry(action="equipment.log_event", subject=instrument, changes=told, by=by)
        return row


def enter_range(
    *,
    instrument: Instrument,
    quantity: str,
    unit: str,
    low: float,
    high: float,
    resolution: float | None = None,
    accuracy_pct: float | None = None,
    accuracy_absolute: float | None = None,
    remarks: str = "",
    by: Any,
) -> InstrumentRange:
    """Enter one range with the accuracy that the laboratory requires there; it judges calibrations entered later."""
    require_right("enter_range", by)
    _refuse_bad_range(low, high, {"resolution": resolution, "accuracy_pct": accuracy_pct,
                                  "accuracy_absolute": accuracy_absolute})  # fmt: skip
    row = InstrumentRange(
        instrument=instrument,
        quantity=quantity,
        unit=unit.strip(),
        low=low,
        high=high,
        resolution=resolution,
        accuracy_pct=accuracy_pct,
        accuracy_absolute=accuracy_absolute,
        remarks=remarks.strip(),
    )
    with writing():
        row.full_clean()
        row.save(force_insert=True)
        names = ("quantity", "unit", "low", "high", "resolution", "accuracy_pct", "accuracy_absolute", "remarks")
        told = {name: [None, getattr(row, name)] for name in names}
        record_entry(action="equipment.enter_range", subject=instrument, changes=told, by=by)
        return row


def end_range(*, instrument: Instrument, range_id: int, reason: str, by: Any) -> None:
    """Take a range away that no longer applies, with a reason; the ledger keeps it."""
    require_right("enter_range", by)
    words = reason.strip()
    if not words:
        raise ValidationError({"reason": "Say why; the reason stays in the history."})
    with writing():
        row = InstrumentRange.objects.filter(instrument=instrument, pk=range_id).first()
        if row is None:
            return
        told = {"range": [str(row), None], "accuracy_pct": [row.accuracy_pct, None]}
        row.delete()
        record_entry(action="equipment.end_range", subject=instrument, changes=told, reason=words, by=by)


def _refuse_bad_range(low: float, high: float, sizes: dict[str, float | None]) -> None:
    wrong: dict[str, str] = {}
    if not (math.isfinite(low) and math.isfinite(high) and low < high):
        wrong["high"] = "The upper end must be a number above the lower end."
    for name, size in sizes.items():
        if size is not None and not (math.isfinite(size) and size >= 0):
            wrong[name] = "This must be a number, at least zero."
    if wrong:
        raise ValidationError(wrong)


def keep_file(
    *,
    instrument: Instrument,
    kind: str,
    given_name: str,
    content: bytes,
    calibration: Calibration | None = None,
    by: Any,
) -> InstrumentFile:
    """Keep a file of an instrument byte for byte under its digest; the same bytes again give the row that is there."""
    require_right("keep_file", by)
    if kind not in InstrumentFile.Kind.values:
        raise ValidationError({"kind": "Choose what the file is."})
    if not content:
        raise ValidationError({"file": f"“{given_name}” is empty: 0 bytes. Nothing was stored."})
    if len(content) > MOST_FILE_BYTES:
        raise ValidationError({"file": f"“{given_name}” is over {MOST_FILE_BYTES / 2**20:g} MB. Nothing was stored."})
    digest = hashlib.sha256(content).hexdigest()
    path = f"instruments/{digest[:2]}/{digest}"
    _settle(content, Path(settings.MEDIA_ROOT) / path)
    with writing():
        known = InstrumentFile.objects.filter(instrument=instrument, calibration=calibration, sha256=digest).first()
        if known is not None:
            return known
        row = InstrumentFile.objects.create(
            instrument=instrument,
            calibration=calibration,
            kind=kind,
            given_name=given_name[-255:],
            path=path,
            sha256=digest,
            size_bytes=len(content),
            added_by=by,
        )
        told = {"file": [None, row.given_name], "sha256": [None, digest]}
        told["calibration"] = [None, str(calibration) if calibration else None]
        record_entry(action="equipment.keep_file", subject=instrument, changes=told, by=by)
        return row


def _settle(content: bytes, target: Path) -> None:
    """Write, sync, rename: bytes that are there already stay as they are."""
    if target.exists():
        return
    target.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.NamedTemporaryFile(dir=target.parent, delete=False) as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    incoming = Path(file.name)
    incoming.chmod(0o440)
    incoming.rename(target)
    handle = os.open(target.parent, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
