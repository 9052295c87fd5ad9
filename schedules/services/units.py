"""Units under test: receiving several alike, correcting one, and their photographs."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.utils import timezone

from labsite.ledger.services import change_fields, create_with_entry, record_entry, writing
from labsite.people.services.numbering import next_number
from schedules.models import Order, Unit
from schedules.rules import EQUIPMENT_KINDS
from schedules.selectors import proposal_of
from schedules.selectors.nameplates import NAMED_ELSEWHERE, ORDER_OWNED
from schedules.services.refusals import Refusal, ScheduleRefused
from schedules.services.rights import require

EDITABLE = ("serial", "equipment", "ratings", "design", "received_on", "condition")
MOST_AT_ONCE = 200
LONGEST_SERIAL = 80


def enter_units(
    *,
    order: Order,
    serials: list[str],
    equipment: str,
    ratings: dict[str, Any],
    design: str = "",
    received_on: date | None = None,
    condition: str = "",
    by: Any,
) -> list[Unit]:
    """Enter one unit for each serial number, all with the same nameplate: all of them or none.

    Refuses no or too many serials, one that stands twice or is in the order already (by name), an unknown kind of
    equipment, ratings from which no plan follows, and a day of receipt that has not come.
    """
    require(by, "enter_units")
    serials = [serial.strip() for serial in serials if serial.strip()]
    ratings = stated_ratings(ratings)
    plate = {
        "equipment": equipment,
        "design": design.strip(),
        "received_on": received_on,
        "condition": condition.strip(),
    }
    _check_serials(serials)
    _check_plate(order, ratings, plate)
    with writing():
        taken = sorted(order.units.filter(serial__in=serials).values_list("serial", flat=True))
        if taken:
            raise ScheduleRefused.of(f"Already in {order.number}: {', '.join(taken)}. No unit was entered.", "serials")
        year = timezone.localdate().year
        return [
            create_with_entry(
                instance=Unit(
                    number=next_number(series="unit", year=year),
                    order=order,
                    serial=serial,
                    ratings=ratings,
                    entered_by=by,
                    **plate,
                ),
                action="unit.entered",
                by=by,
            )
            for serial in serials
        ]


def edit_unit(*, unit: Unit, version: int, changes: dict[str, Any], reason: str = "", by: Any) -> Unit:
    """Change a unit as its editor saw it at `version`. A plan that was adopted stays until a new one is.

    Refuses fields that nobody may set, what `enter_units` refuses, and other ratings without a reason once a plan was
    adopted. Raises `StaleEdit` when the unit moved on.
    """
    require(by, "edit_unit")
    unknown = sorted(set(changes) - set(EDITABLE))
    if unknown:
        raise ScheduleRefused.of(f"A unit has no field to change named {', '.join(unknown)}.")
    changes = {name: value.strip() if isinstance(value, str) else value for name, value in changes.items()}
    if "ratings" in changes:
        changes["ratings"] = stated_ratings(changes["ratings"])
    with writing():
        row = Unit.objects.select_related("order").select_for_update(of=("self",)).get(pk=unit.pk)
        if row.version == version:
            _check_change(row, changes, reason)
        return change_fields(
            instance=row, version=version, changes=changes, action="unit.changed", reason=reason.strip(), by=by
        )


def note_finished(*, unit: Unit, is_finished: bool, by: Any) -> None:
    """Note that a unit has its certificate, or has it no more; called inside the issue or the withdrawal."""
    row = Unit.objects.select_for_update().get(pk=unit.pk)
    if (row.finished_at is not None) == is_finished:
        return
    before, row.finished_at = row.finished_at, timezone.now() if is_finished else None
    row.save(update_fields=["finished_at"])
    record_entry(action="unit.finished", subject=row, changes={"finished_at": [before, row.finished_at]}, by=by)


def stated_ratings(ratings: dict[str, Any]) -> dict[str, Any]:
    """Return the ratings that say something."""
    return {name: value for name, value in ratings.items() if value not in (None, "", [], ())}


def _check_change(row: Unit, changes: dict[str, Any], reason: str) -> None:
    after = {name: changes.get(name, getattr(row, name)) for name in EDITABLE}
    if "serial" in changes:
        _check_serials([after["serial"]] if after["serial"] else [], "serial")
        if row.order.units.filter(serial=after["serial"]).exclude(pk=row.pk).exists():
            raise ScheduleRefused.of(f"{row.order.number} has another unit {after['serial']}.", "serial")
    _check_plate(row.order, after["ratings"], after)
    moves_plan = any(after[name] != getattr(row, name) for name in ("ratings", "equipment"))
    if moves_plan and not reason.strip() and row.plans.exists():
        raise ScheduleRefused.of("A plan was made from these ratings. Say why they change.", "reason")


def _check_serials(serials: list[str], field: str = "serials") -> None:
    if not serials:
        raise ScheduleRefused.of("Give at least one serial number, one on each line.", field)
    if len(serials) > MOST_AT_ONCE:
        raise ScheduleRefused.of(f"{len(serials)} serial numbers at once; enter at most {MOST_AT_ONCE}.", field)
    twice = sorted({serial for serial in serials if serials.count(serial) > 1})
    if twice:
        raise ScheduleRefused.of(f"Stands twice in your list: {', '.join(twice)}. No unit was entered.", field)
    unfit = [serial for serial in serials if len(serial) > LONGEST_SERIAL or not serial.isprintable()]
    if unfit:
        raise ScheduleRefused.of(
            f"Not a serial number: {unfit[0][:40]}…; give up to {LONGEST_SERIAL} printable characters.", field
        )


def _check_plate(order: Order, ratings: dict[str, Any], plate: dict[str, Any]) -> None:
    found = []
    if len(plate["design"]) > 80:
        found.append(Refusal("design", "Shorten the design to 80 characters."))
    if plate["received_on"] is not None and plate["received_on"] > timezone.localdate():
        found.append(Refusal("received_on", "This day has not come yet. Leave it empty until the unit is here."))
    if plate["equipment"] not in EQUIPMENT_KINDS:
        found.append(Refusal("equipment", f"Choose one of {', '.join(EQUIPMENT_KINDS)}."))
    elif foreign := sorted((ORDER_OWNED | NAMED_ELSEWHERE) & set(ratings)):
        found.append(Refusal("ratings", f"Not on a nameplate, but settled elsewhere: {', '.join(foreign)}."))
    else:
        proposal = proposal_of(order=order, equipment=plate["equipment"], ratings=ratings)
        # What the order itself lacks does not keep a unit out of the door: the plan's page tells it.
        if proposal.document is None and not proposal.is_order_field:
            found.append(Refusal(proposal.field, proposal.words))
    if found:
        raise ScheduleRefused(*found)
