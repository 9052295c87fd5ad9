"""Imports a list of instruments: read and checked row by row first, then stored whole or not at all."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from datetime import date
from typing import Any

from django.core.exceptions import ValidationError
from django.utils import timezone

from equipment.metrology.tables import Rows, TableRefused, number_of, read_table
from equipment.models import Instrument, InstrumentImport
from equipment.models.instrument import Quantity
from equipment.services.calibrations import enter_calibration
from equipment.services.instruments import enter_instrument
from equipment.services.rights import require_right
from labsite.ledger.services import record_entry, writing

MOST_INSTRUMENTS = 3_000
_HEADS: Mapping[str, tuple[str, ...]] = {
    "identifier": ("identifier", "id", "inventory number", "mark"),
    "description": ("description", "name", "designation"),
    "maker": ("maker", "manufacturer"),
    "model": ("model", "type"),
    "serial": ("serial", "serial number", "serial no"),
    "firmware": ("firmware", "software"),
    "location": ("location", "place", "room"),
    "custodian": ("custodian", "kept by", "keeper"),
    "quantity": ("quantity", "measures"),
    "range_text": ("range",),
    "interval_months": ("interval", "interval months", "calibration interval months"),
    "laboratory": ("laboratory", "calibration laboratory"),
    "certificate_number": ("certificate", "certificate number"),
    "calibrated_on": ("calibrated on", "calibrated", "calibration date"),
    "due_on": ("due on", "due", "due date"),
    "relative_uncertainty_pct": ("uncertainty pct", "uncertainty per cent", "expanded uncertainty per cent"),
}
_INSTRUMENT = ("identifier", "description", "maker", "model", "serial", "firmware", "location", "custodian",
               "quantity", "range_text", "interval_months")  # fmt: skip
_CALIBRATION = ("laboratory", "certificate_number", "calibrated_on", "due_on", "relative_uncertainty_pct")
_NEEDED = ("identifier", "description", "serial", "quantity")
_LONGEST = {
    **dict.fromkeys(("maker", "model", "location", "custodian", "range_text"), 120),
    **dict.fromkeys(("serial", "firmware", "certificate_number"), 80),
    **dict.fromkeys(("description", "laboratory"), 200),
    "identifier": 40,
}
_WORDS = {"range_text": "range", "interval_months": "interval", "relative_uncertainty_pct": "uncertainty"}


def read_list(*, given_name: str, content: bytes, by: Any) -> InstrumentImport:
    """Read a list from CSV or XLSX, check every row, and keep it for the preview. Refuses what is no list."""
    require_right("import_instruments", by)
    try:
        table = read_table(content, given_name)
        columns, first = _heads(table)
    except TableRefused as refusal:
        raise ValidationError({"file": f"{refusal} Nothing was stored."}) from refusal
    rows = _rows(table, columns, first)
    if not rows:
        raise ValidationError({"file": "The list has heads but no instrument below them. Nothing was stored."})
    if len(rows) > MOST_INSTRUMENTS:
        raise ValidationError({"file": f"More than {MOST_INSTRUMENTS} instruments at once; split the list."})
    with writing():
        made = InstrumentImport.objects.create(
            given_name=given_name[-255:],
            sha256=hashlib.sha256(content).hexdigest(),
            rows=rows,
            faults=faults_of(rows),
            read_by=by,
        )
        told = {"rows": [None, len(rows)], "faults": [None, len(made.faults)], "sha256": [None, made.sha256]}
        record_entry(action="equipment.read_list", subject=made, changes=told, by=by)
        return made


def _heads(table: Rows) -> tuple[dict[str, int], int]:
    for place, row in enumerate(table[:20]):
        found: dict[str, int] = {}
        for column, head in enumerate(row):
            plain = " ".join("".join(sign if sign.isalnum() else " " for sign in head.lower()).split())
            name = next((name for name, words in _HEADS.items() if plain in words), None)
            if name and name not in found:
                found[name] = column
        if "identifier" in found and "serial" in found:
            if lacking := [name for name in _NEEDED if name not in found]:
                raise TableRefused(f"The list lacks the column {', '.join(lacking)}.")
            return found, place
    raise TableRefused("No row of heads was found; the list needs at least Identifier, Description, Serial, Quantity.")


def _rows(table: Rows, columns: Mapping[str, int], first: int) -> list[dict[str, Any]]:
    rows = []
    for number, row in enumerate(table[first + 1 :], start=first + 2):
        if any(row):
            said = {name: row[place] if place < len(row) else "" for name, place in columns.items()}
            rows.append({"row": number, **said})
    return rows


def faults_of(rows: list[dict[str, Any]]) -> list[str]:
    """Return everything that stands against a list, each with its row, in words."""
    known = {identifier.casefold() for identifier in Instrument.objects.values_list("identifier", flat=True)}
    seen: dict[str, int] = {}
    faults: list[str] = []
    for row in rows:
        here = f"Row {row['row']}"
        faults += [f"{here}: {words}" for words in _own_faults(row)]
        mark = str(row.get("identifier", "")).casefold()
        if mark and mark in known:
            faults.append(f"{here}: there is already an instrument {row['identifier']}.")
        if mark and mark in seen:
            faults.append(f"{here}: {row['identifier']} stands in row {seen[mark]} too.")
        seen.setdefault(mark, row["row"])
    return faults


def _own_faults(row: Mapping[str, Any]) -> list[str]:
    faults = [f"the {name} is missing." for name in _NEEDED if not row.get(name)]
    faults += [
        f"the {_WORDS.get(name, name)} has more than {most} characters."
        for name, most in _LONGEST.items()
        if len(str(row.get(name, ""))) > most
    ]
    if row.get("quantity") and _quantity(row["quantity"]) is None:
        known = ", ".join(str(label).lower() for _, label in Quantity.choices)
        faults.append(f"“{row['quantity']}” is no quantity; use one of {known}.")
    if row.get("interval_months") and _whole(row["interval_months"]) is None:
        faults.append(f"the interval “{row['interval_months']}” is no whole number of months from 1 to 120.")
    return faults + _calibration_faults(row)


def _calibration_faults(row: Mapping[str, Any]) -> list[str]:
    given = [name for name in _CALIBRATION if row.get(name)]
    if not given:
        return []
    faults = [
        f"the calibration lacks its {name.replace('_', ' ')}."
        for name in ("laboratory", "certificate_number", "calibrated_on", "relative_uncertainty_pct")
        if not row.get(name)
    ]
    days = {name: _day(row[name]) for name in ("calibrated_on", "due_on") if row.get(name)}
    faults += [f"“{row[name]}” is no day; write it as 2026-03-31." for name, day in days.items() if day is None]
    begun, due = days.get("calibrated_on"), days.get("due_on")
    if begun and begun > timezone.localdate():
        faults.append(f"the day {begun} of the calibration has not come yet.")
    if begun and due and due <= begun:
        faults.append(f"the due day {due} must lie after {begun}.")
    if row.get("relative_uncertainty_pct") and not _positive(row["relative_uncertainty_pct"]):
        faults.append(f"the uncertainty “{row['relative_uncertainty_pct']}” is no number above zero.")
    return faults


def _quantity(text: str) -> str | None:
    words = text.strip().casefold()
    return next((value for value, label in Quantity.choices if words in (value, str(label).casefold())), None)


def _whole(text: str) -> int | None:
    try:
        number = number_of(text)
    except ValueError:
        return None
    return int(number) if number is not None and number.is_integer() and 1 <= number <= 120 else None


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        return None


def _positive(text: str) -> bool:
    try:
        number = number_of(text)
    except ValueError:
        return False
    return number is not None and number > 0


def import_list(*, listed: InstrumentImport, by: Any) -> list[Instrument]:
    """Store every instrument of a list, and the calibration of each that names one: all of them or none.

    What was right when it was read is checked again. Refuses a list with faults, and one that was imported.
    """
    require_right("import_instruments", by)
    with writing():
        held = InstrumentImport.objects.select_for_update(of=("self",)).get(pk=listed.pk)
        if held.imported_at is not None:
            raise ValidationError(f"This list was imported already, by {held.imported_by}.")
        if faults := faults_of(held.rows):
            raise ValidationError([f"Nothing was imported. {faults[0]}", *faults[1:50]])
        made = [_entered(row, by) for row in held.rows]
        held.imported_by, held.imported_at = by, timezone.now()
        held.save(update_fields=["imported_by", "imported_at"])
        told = {"instruments": [None, len(made)], "sha256": [None, held.sha256]}
        record_entry(action="equipment.import_list", subject=held, changes=told, by=by)
        return made


def _entered(row: Mapping[str, Any], by: Any) -> Instrument:
    values = {name: row[name] for name in _INSTRUMENT if row.get(name)}
    values["quantity"] = _quantity(values["quantity"])
    values["interval_months"] = _whole(row.get("interval_months") or "12")
    try:
        instrument = enter_instrument(**values, by=by)
        if row.get("certificate_number"):
            enter_calibration(
                instrument=instrument,
                laboratory=row["laboratory"],
                certificate_number=row["certificate_number"],
                calibrated_on=date.fromisoformat(row["calibrated_on"]),
                due_on=_day(row.get("due_on") or ""),
                relative_uncertainty_pct=number_of(row["relative_uncertainty_pct"]) or 0.0,
                by=by,
            )
    except ValidationError as fault:
        raise ValidationError(f"Nothing was imported. Row {row['row']}: {' '.join(fault.messages)}") from fault
    return instrument
