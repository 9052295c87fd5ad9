"""Enters and edits instruments, and moves them through their life."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.core.exceptions import ValidationError
from django.utils import timezone

from equipment.models import Instrument, StateChange
from equipment.services.lifecycle import TRANSITIONS, moment_of
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
    "custodian",
    "range_text",
    "interval_months",
    "is_indicator",
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
    """Move an instrument on in its life from the day `on`, which may have passed.

    Refuses without a reason, a day to come, a move that does not exist, and a day on which the instrument was retired
    already. A day before the last change is entered afterwards: the instrument's state of today stays the last one's.
    """
    require_right("change_state", by)
    if not reason.strip():
        raise ValidationError({"reason": "Say why; the reason stays in the history."})
    if on > timezone.localdate():
        raise ValidationError({"on": f"The day {on} has not come yet."})
    with writing():
        now = Instrument.objects.select_for_update().get(pk=instrument.pk)
        last = now.state_changes.order_by("at", "pk").last()
        is_later = last is not None and moment_of(on) < last.at
        if now.version == version:
            _refuse_move(now, state, on, is_later)
        row = StateChange.objects.create(
            instrument=now, state=state, on=on, at=moment_of(on), reason=reason.strip(), entered_by=by
        )
        action = "equipment.change_state"
        if is_later and now.version == version:
            told = {"state_then": [None, state], "state_since": [None, on]}
            record_entry(action=action, subject=now, changes=told, reason=row.reason, by=by)
            return now
        changes = {"state": state, "state_since": on, "state_reason": row.reason}
        return change_fields(instance=now, version=version, changes=changes, action=action, reason=row.reason, by=by)


def _refuse_move(now: Instrument, state: str, on: date, is_later: bool) -> None:
    if state not in Instrument.State.values:
        raise ValidationError({"state": "Choose one of the states of an instrument."})
    retired = now.state_changes.filter(state=Instrument.State.RETIRED).order_by("at").first()
    if is_later and (state == Instrument.State.RETIRED or (retired is not None and moment_of(on) >= retired.at)):
        raise ValidationError({"on": f"{now.identifier} has later changes; retirement can only be the last one."})
    if not is_later and state not in TRANSITIONS[now.state]:
        raise ValidationError({"state": f"{now.identifier} is {now.get_state_display().lower()}; it cannot go on so."})


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
