"""Units in lists, and all that the page of one unit shows."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import OuterRef, Q, QuerySet, Subquery

from labsite.ledger.models import Entry
from schedules.models import Order, Plan, Unit, UnitPhoto
from schedules.rules import EQUIPMENT_KINDS
from schedules.selectors.nameplates import RatingLine, rating_lines
from schedules.selectors.plans import StepSheet, sheets_of_plan
from schedules.selectors.proposals import proposal_of
from schedules.selectors.revisions import what_changed


@dataclass(frozen=True)
class UnitRow:
    """One line of a list of units."""

    pk: int
    number: str
    serial: str
    order_pk: int
    order_number: str
    customer: str
    equipment: str
    voltage_kv: float | None
    impulse_kv: float | None
    received_on: date | None
    plan_revision: int | None


def units_matching(viewer: Any, *, words: str = "", equipment: str = "", order: Order | None = None) -> QuerySet[Unit]:
    """Return the visible units that fit the filters and every word: of serial, number, design, order or customer."""
    units = Unit.objects.visible_to(viewer).for_list()
    if order is not None:
        units = units.filter(order=order)
    if equipment:
        units = units.filter(equipment=equipment)
    for word in words.split():
        units = units.filter(
            Q(serial__icontains=word)
            | Q(number__icontains=word)
            | Q(design__icontains=word)
            | Q(order__number__icontains=word)
            | Q(order__purchase_reference__icontains=word)
            | Q(order__customer__name__icontains=word)
        )
    return units


def unit_overview(units: QuerySet[Unit]) -> QuerySet[Unit]:
    """Return the units with the revision of their current plan, in one query."""
    current = Plan.objects.filter(unit=OuterRef("pk"), is_current=True).values("revision")[:1]
    return units.annotate(plan_revision=Subquery(current))


def unit_rows(units: Iterable[Unit]) -> list[UnitRow]:
    """Return the lines of a list for units out of `unit_overview`; asks the database for nothing more."""
    return [
        UnitRow(
            pk=unit.pk,
            number=unit.number,
            serial=unit.serial,
            order_pk=unit.order_id,
            order_number=unit.order.number,
            customer=unit.order.customer.name,
            equipment=EQUIPMENT_KINDS.get(unit.equipment, unit.equipment),
            voltage_kv=unit.ratings.get("highest_voltage_kv") or unit.ratings.get("rated_voltage_kv"),
            impulse_kv=unit.ratings.get("lightning_impulse_kv"),
            received_on=unit.received_on,
            plan_revision=getattr(unit, "plan_revision", None),
        )
        for unit in units
    ]


@dataclass(frozen=True)
class UnitDetail:
    """What the page of one unit shows; `next_deed` is `review`, `plan`, `replan`, `finished` or empty (steps tell)."""

    unit: Unit
    equipment: str
    lines: list[RatingLine]
    photos: list[UnitPhoto]
    plans: list[Plan]
    plan: Plan | None
    steps: list[StepSheet]
    next_deed: str


def unit_detail(unit: Unit) -> UnitDetail:
    """Return what the page shows of a unit out of `for_detail`; asks the database for nothing more."""
    plans = list(unit.plans.all())
    plan = next((one for one in plans if one.is_current), None)
    return UnitDetail(
        unit=unit,
        equipment=EQUIPMENT_KINDS.get(unit.equipment, unit.equipment),
        lines=rating_lines(unit.ratings),
        photos=list(unit.photos.all()),
        plans=plans,
        plan=plan,
        steps=sheets_of_plan(plan) if plan is not None else [],
        next_deed=_next_deed(unit, plan),
    )


def _next_deed(unit: Unit, plan: Plan | None) -> str:
    if not unit.order.is_reviewed:
        return "review"
    if plan is None:
        return "plan"
    if unit.finished_at is not None:
        return "finished"
    proposal = proposal_of(order=unit.order, equipment=unit.equipment, ratings=unit.ratings)
    if proposal.document is None:
        return "replan"
    return "" if proposal.digest == plan.digest or what_changed(plan, proposal.document).is_none else "replan"


def unit_history(viewer: Any, unit: Unit) -> QuerySet[Entry]:
    """Return the entries about a unit, its plans, their steps and its photographs, oldest first."""
    if not viewer.is_laboratory:
        return Entry.objects.none()
    plans = [str(plan.pk) for plan in unit.plans.all()]
    steps = [str(step.pk) for plan in unit.plans.all() for step in plan.steps.all()]
    photos = [str(photo.pk) for photo in unit.photos.all()]
    of_unit = Q(subject_type="schedules.unit", subject_id=str(unit.pk))
    of_plans = Q(subject_type="schedules.plan", subject_id__in=plans)
    of_steps = Q(subject_type="schedules.step", subject_id__in=steps)
    of_photos = Q(subject_type="schedules.unitphoto", subject_id__in=photos)
    return Entry.objects.filter(of_unit | of_plans | of_steps | of_photos).order_by("sequence")
