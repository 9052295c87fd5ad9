"""Reads that span orders, units, plans, bays and authorisations."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, NamedTuple

import rfc8785
from django.db.models import OuterRef, Q, QuerySet, Subquery

from schedules.models import Authorisation, Bay, Order, Plan, Step, Unit
from schedules.rules import EQUIPMENT_KINDS, FIELDS_BY_NAME, RATING_FIELDS, STEP_KINDS, BadRatings, RatingField
from schedules.rules import derive_plan as derive

ORDER_OWNED = frozenset(
    {"standards", "decision_rule", "guard_factor", "discharge_procedure", "hold_points", "witness_points"}
)
"""Ratings that the order settles, not the nameplate."""

NAMED_ELSEWHERE = frozenset({"equipment", "serial"})
"""Ratings that are fields of the unit itself."""


class Answer(NamedTuple):
    """Whether a person is authorised, and the reason in words."""

    is_authorised: bool
    reason: str


def authorised(user: Any, kind: str, activity: str, on: date) -> Answer:
    """Say whether the person may perform or approve this kind of test on the day, and why (or why not)."""
    name = STEP_KINDS.get(kind, kind).lower()
    rows = list(Authorisation.objects.filter(user=user, kind=kind, activity=activity).order_by("valid_until"))
    holding = [row for row in rows if row.valid_from <= on <= row.valid_until]
    if not user.is_active:
        return Answer(False, f"The account of {user.name} is switched off.")
    if holding:
        return Answer(True, f"{user.name} may {activity} {name} until {holding[-1].valid_until:%-d %B %Y}.")
    past = [row for row in rows if row.valid_until < on]
    if past:
        return Answer(
            False, f"The authorisation of {user.name} to {activity} {name} ended on {past[-1].valid_until:%-d %B %Y}."
        )
    if rows:
        return Answer(
            False, f"The authorisation of {user.name} to {activity} {name} begins on {rows[0].valid_from:%-d %B %Y}."
        )
    return Answer(False, f"{user.name} holds no authorisation to {activity} {name}.")


def nameplate_fields(equipment: str) -> tuple[RatingField, ...]:
    """Return the rating fields that a unit of this kind has, in the order of a form."""
    left_out = ORDER_OWNED | NAMED_ELSEWHERE
    return tuple(field for field in RATING_FIELDS if equipment in field.kinds and field.name not in left_out)


@dataclass(frozen=True)
class RatingLine:
    """One line of a nameplate as a page shows it."""

    label: str
    value: Any
    unit: str


def rating_lines(ratings: dict[str, Any]) -> list[RatingLine]:
    """Return what is stated on the nameplate, in the order of the fields, with units."""
    lines = []
    for field in RATING_FIELDS:
        if field.name in ratings and field.name not in NAMED_ELSEWHERE:
            value = ratings[field.name]
            lines.append(RatingLine(field.label, ", ".join(value) if isinstance(value, list) else value, field.unit))
    return lines


@dataclass(frozen=True)
class Proposal:
    """The plan that the ratings and the order call for now, or the reason why there is none.

    `field` names the rating or the term of the order that has to be mended; `words` says what is wrong and the mend.
    """

    document: dict[str, Any] | None
    digest: str = ""
    field: str = ""
    words: str = ""
    is_order_field: bool = False


def proposal_of(*, order: Order, equipment: str, ratings: dict[str, Any]) -> Proposal:
    """Derive the plan from a nameplate and the agreed terms of its order."""
    stated = {name: value for name, value in ratings.items() if name not in ORDER_OWNED | {"equipment"}}
    stated |= {
        "equipment": equipment,
        "standards": list(order.standards),
        "decision_rule": order.decision_rule,
        "hold_points": list(order.hold_kinds),
        "witness_points": list(order.witness_kinds),
    }
    if order.discharge_procedure:
        stated["discharge_procedure"] = order.discharge_procedure
    try:
        document = derive(stated).as_dict()
    except BadRatings as refused:
        name = refused.key.split("[")[0]
        label = FIELDS_BY_NAME[name].label if name in FIELDS_BY_NAME else refused.key
        return Proposal(None, "", name, f"{label}: {refused.problem}; {refused.mend}.", name in ORDER_OWNED)
    return Proposal(document, plan_digest(document))


def plan_digest(document: dict[str, Any]) -> str:
    """Return the SHA-256 of a plan's canonical JSON (RFC 8785), in hex."""
    return hashlib.sha256(rfc8785.dumps(document)).hexdigest()


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


def orders_matching(viewer: Any, *, words: str = "", review: str = "") -> QuerySet[Order]:
    """Return the visible orders that fit the words; `review` is "waiting", "done" or empty for all."""
    orders = Order.objects.visible_to(viewer).for_list()
    if review in ("waiting", "done"):
        orders = orders.filter(reviewed_at__isnull=review == "waiting")
    for word in words.split():
        orders = orders.filter(
            Q(number__icontains=word)
            | Q(purchase_reference__icontains=word)
            | Q(customer__name__icontains=word)
            | Q(pk__in=Unit.objects.filter(serial__icontains=word).values("order"))
        )
    return orders


@dataclass(frozen=True)
class OrderDetail:
    """What the page of one order shows."""

    order: Order
    hold_points: list[str]
    witness_points: list[str]
    units: list[UnitRow]
    next_deed: str


def order_detail(viewer: Any, order: Order) -> OrderDetail:
    """Return the order with its units and what is to do next: `review`, `units`, `plans` or nothing."""
    rows = unit_rows(unit_overview(units_matching(viewer, order=order).order_by("serial")))
    if not order.is_reviewed:
        deed = "review"
    elif not rows:
        deed = "units"
    else:
        deed = "plans" if any(row.plan_revision is None for row in rows) else ""
    return OrderDetail(order, kinds_in_words(order.hold_kinds), kinds_in_words(order.witness_kinds), rows, deed)


def kinds_in_words(kinds: Iterable[str]) -> list[str]:
    """Return the names of kinds of test as a reader sees them."""
    return [STEP_KINDS.get(kind, kind) for kind in kinds]


def current_plan(unit: Unit) -> Plan | None:
    """Return the plan that holds for the unit, out of what `for_detail` fetched."""
    return next((plan for plan in unit.plans.all() if plan.is_current), None)


@dataclass(frozen=True)
class Fitness:
    """Whether one bay can run one step, by its voltage and its own discharges."""

    bay: Bay
    is_fit: bool
    reason: str


@dataclass(frozen=True)
class StepFitness:
    """One step with every bay's fitness; `voltage_kv` is its highest set point, None where it has none."""

    title: str
    voltage_kv: float | None
    bays: list[Fitness]


def bay_fitness(plan: Plan, bays: Sequence[Bay]) -> list[StepFitness]:
    """Return which bay can run which step of the plan."""
    return [_step_fitness(step, bays) for step in plan.steps.all()]


def _step_fitness(step: Step, bays: Sequence[Bay]) -> StepFitness:
    stages = step.document["procedure"].get("stages", [])
    voltage = max((stage.get("set_point_kv", stage["voltage_kv"]) for stage in stages), default=None)
    if step.kind == "lightning_impulse":
        reason = "An impulse generator makes this voltage, not the source of the bay."
        return StepFitness(step.title, voltage, [Fitness(bay, False, reason) for bay in bays])
    noise = min((check["max"] for check in _noise_checks(step)), default=None)
    return StepFitness(step.title, voltage, [_fitness(bay, voltage, noise) for bay in bays])


def _noise_checks(step: Step) -> list[dict[str, Any]]:
    procedure = step.document["procedure"]
    checks = [*procedure.get("setup_checks", []), *procedure.get("criteria", [])]
    return [check for check in checks if check["quantity"] == "background_noise_pc" and "max" in check]


def _fitness(bay: Bay, voltage: float | None, noise: float | None) -> Fitness:
    if voltage is not None and voltage > bay.source_kv:
        return Fitness(bay, False, f"The source gives {bay.source_kv:g} kV; the step asks {voltage:g} kV.")
    if noise is not None and bay.residual_discharge_pc > noise:
        residual = f"The bay's own discharges are {bay.residual_discharge_pc:g} pC"
        return Fitness(bay, False, f"{residual}; the step allows {noise:g} pC of noise.")
    asked = f"{voltage:g} kV of {bay.source_kv:g} kV" if voltage is not None else "No high voltage is asked"
    return Fitness(bay, True, f"{asked}.")
