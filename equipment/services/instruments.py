"""Enters and edits instruments, and moves them through their life."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.core.exceptions import ValidationError

from equipment.models import Instrument
from equipment.services.lifecycle import TRANSITIONS
from equipment.services.rights import require_right
from labsite.ledger.services import change_fields, create_with_entry, record_entry, writing

EDITABLE = (
    "identifier",
    "description",
    "maker",
    "model",
    "serial",
    "firmware",
    "location",
    "quantity",
    "range_text",
    "interval_months",
)


def enter_instrument(*, by: Any, **values: Any) -> Instrument:
    """Enter an instrument with the fields of `EDITABLE`. Refuses a taken identifier and values out of range."""
    require_right("enter_instrument", by)
    instrument = Instrument(**_known(values))
    with writing():
        _refuse_taken(instrument.identifier)
        instrument.full_clean()
        return create_with_entry(instance=instrument, action="equipment.enter_instrument", by=by)


def edit_instrument(*, instrument: Instrument, version: int, changes: dict[str, Any], by: Any) -> Instrument:
    """Correct an instrument as its editor saw it at `version`. Refuses a stale version and a taken identifier."""
    require_right("edit_instrument", by)
    with writing():
        if "identifier" in changes:
            _refuse_taken(changes["identifier"], but=instrument)
        Instrument(**{**{name: getattr(instrument, name) for name in EDITABLE}, **_known(changes)}).clean_fields()
        action = "equipment.edit_instrument"
        return change_fields(instance=instrument, version=version, changes=changes, action=action, by=by)


def change_state(*, instrument: Instrument, version: int, state: str, on: date, reason: str, by: Any) -> Instrument:
    """Move an instrument on in its life from the day `on`. Refuses without a reason, and a move that does not exist."""
    require_right("change_state", by)
    if not reason.strip():
        raise ValidationError({"reason": "Say why; the reason stays in the history."})
    with writing():
        now = Instrument.objects.select_for_update().get(pk=instrument.pk)
        if now.version == version and state not in TRANSITIONS[now.state]:
            raise ValidationError(
                {"state": f"{now.identifier} is {now.get_state_display().lower()}; it cannot go on so."}
            )
        changes = {"state": state, "state_since": on, "state_reason": reason.strip()}
        action = "equipment.change_state"
        return change_fields(
            instance=now, version=version, changes=changes, action=action, reason=reason.strip(), by=by
        )


def remember_columns(*, instrument: Instrument, column_map: dict[str, Any], by: Any) -> Instrument:
    """Keep which column of this instrument's files means what; the last mapping counts."""
    require_right("remember_columns", by)
    with writing():
        row = Instrument.objects.select_for_update().get(pk=instrument.pk)
        if row.column_map == column_map:
            return row
        changes = {"column_map": [row.column_map, column_map]}
        row.column_map = column_map
        row.version += 1
        row.save(update_fields=["column_map", "version"])
        record_entry(action="equipment.remember_columns", subject=row, changes=changes, by=by)
        return row


def _known(values: dict[str, Any]) -> dict[str, Any]:
    if unknown := set(values) - set(EDITABLE):
        raise ValueError(f"An instrument is not edited by {', '.join(sorted(unknown))}.")
    return values


def _refuse_taken(identifier: str, but: Instrument | None = None) -> None:
    taken = Instrument.objects.filter(identifier__iexact=str(identifier).strip())
    if taken.exclude(pk=but.pk if but else None).exists():
        raise ValidationError({"identifier": f"There is already an instrument {identifier}."})
