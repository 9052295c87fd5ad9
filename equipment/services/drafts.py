"""Calibrations read from a sheet, a table or a digital certificate: kept as drafts until a person confirms them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from django.core.exceptions import ValidationError
from django.utils import timezone

from equipment.metrology.certificates import ReadCalibration, points_of_table
from equipment.metrology.dcc import read_dcc
from equipment.metrology.tables import TableRefused, read_table, read_text
from equipment.models import Calibration, CalibrationDraft, Instrument, InstrumentFile
from equipment.services.calibrations import Circumstances, Point, enter_calibration
from equipment.services.keeping import keep_file
from equipment.services.rights import require_right
from labsite.ledger.services import record_entry, writing

Source: Any = CalibrationDraft.Source


def read_pasted(*, instrument: Instrument, text: str, unit: str, moment: str, by: Any) -> CalibrationDraft:
    """Read points pasted from a sheet into a draft. Refuses in words what is no table of points."""
    require_right("read_calibration", by)
    try:
        found = points_of_table(read_text(text), unit=unit.strip(), moment=moment)
    except TableRefused as refusal:
        raise ValidationError({"text": str(refusal)}) from refusal
    return _keep(instrument, Source.PASTED, found, None, by)


def read_file(
    *, instrument: Instrument, given_name: str, content: bytes, unit: str, moment: str, by: Any
) -> CalibrationDraft:
    """Read a CSV, XLSX or digital certificate into a draft, and keep the file byte for byte beside it."""
    require_right("read_calibration", by)
    is_xml = content.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"<")
    try:
        if is_xml:
            found = read_dcc(content, given_name)
        else:
            found = points_of_table(read_table(content, given_name), unit=unit.strip(), moment=moment)
    except TableRefused as refusal:
        raise ValidationError({"file": f"{refusal} Nothing was stored."}) from refusal
    kind = InstrumentFile.Kind.CERTIFICATE if is_xml else InstrumentFile.Kind.TABLE
    with writing():
        file = keep_file(instrument=instrument, kind=kind, given_name=given_name, content=content, by=by)
        waiting = CalibrationDraft.objects.waiting().filter(instrument=instrument, file=file).first()
        if waiting is not None:  # the same file sent twice
            return waiting
        return _keep(instrument, Source.CERTIFICATE if is_xml else Source.TABLE, found, file, by)


def _keep(
    instrument: Instrument, source: Any, found: ReadCalibration, file: InstrumentFile | None, by: Any
) -> CalibrationDraft:
    document = {"fields": dict(found.fields), "points": [asdict(point) for point in found.points]}
    oddities = [*found.oddities, *_other_serial(instrument, found.fields)]
    with writing():
        draft = CalibrationDraft.objects.create(
            instrument=instrument, source=source, file=file, document=document, oddities=oddities, read_by=by
        )
        told = {"source": [None, source], "points": [None, len(found.points)]}
        told["file"] = [None, file.sha256 if file else None]
        record_entry(action="equipment.read_calibration", subject=instrument, changes=told, by=by)
        return draft


def _other_serial(instrument: Instrument, fields: Mapping[str, Any]) -> list[str]:
    serials = [str(serial) for serial in fields.get("serials", [])]
    known = {instrument.serial.casefold(), instrument.identifier.casefold()}
    if serials and not any(serial.casefold() in known for serial in serials):
        return [f"The certificate names {', '.join(serials)}, not serial {instrument.serial}: is it the right one?"]
    return []


def points_of(draft: CalibrationDraft, moment: str = "") -> list[Point]:
    """Return the points of a draft; `moment` puts them all as found or as left, `both` takes each as found and left."""
    rows = [Point(**row) for row in draft.document["points"]]
    if not moment:
        return rows
    moments = ("as_found", "as_left") if moment == "both" else (moment,)
    return [Point(**{**asdict(row), "moment": name}) for name in moments for row in rows]


def confirm_draft(
    *, draft: CalibrationDraft, moment: str = "", circumstances: Circumstances, by: Any, **certificate: Any
) -> Calibration:
    """Enter the calibration that a person has compared with the certificate; from then on it counts.

    Refuses a draft that was confirmed or set aside before, and everything that `enter_calibration` refuses.
    """
    require_right("enter_calibration", by)
    with writing():
        row = _waiting(draft)
        entered = enter_calibration(
            instrument=row.instrument, points=points_of(row, moment), circumstances=circumstances, **certificate, by=by
        )
        row.calibration = entered
        row.save(update_fields=["calibration"])
        if row.file is not None:
            InstrumentFile.objects.filter(pk=row.file.pk).update(calibration=entered)
        told = {"draft": [None, row.pk], "certificate_number": [None, entered.certificate_number]}
        record_entry(action="equipment.confirm_calibration", subject=row.instrument, changes=told, by=by)
        return entered


def set_aside_draft(*, draft: CalibrationDraft, reason: str, by: Any) -> CalibrationDraft:
    """Put a draft aside with a reason; it never counts. Refuses one that was confirmed."""
    require_right("read_calibration", by)
    words = reason.strip()
    if not words:
        raise ValidationError({"reason": "Say why; the reason stays in the history."})
    with writing():
        row = _waiting(draft)
        row.set_aside_by, row.set_aside_at, row.set_aside_reason = by, timezone.now(), words
        row.save(update_fields=["set_aside_by", "set_aside_at", "set_aside_reason"])
        told = {"draft": [row.pk, None]}
        record_entry(
            action="equipment.set_aside_calibration", subject=row.instrument, changes=told, reason=words, by=by
        )
        return row


def _waiting(draft: CalibrationDraft) -> CalibrationDraft:
    row = CalibrationDraft.objects.select_for_update(of=("self",)).select_related("instrument", "file").get(pk=draft.pk)
    if row.calibration_id is not None:
        raise ValidationError(f"This was confirmed already, as {row.calibration}.")
    if row.set_aside_at is not None:
        raise ValidationError(f"This was set aside by {row.set_aside_by}: {row.set_aside_reason}")
    return row
