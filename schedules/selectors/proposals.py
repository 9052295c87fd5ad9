"""The plan that ratings and agreed terms call for now, or why there is none."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import rfc8785

from schedules.models import Order
from schedules.rules import FIELDS_BY_NAME, BadRatings, RulePack, derive_plan
from schedules.selectors.nameplates import ORDER_OWNED
from schedules.selectors.packs import packs_in_force


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


def knows_procedure(packs: Iterable[RulePack], equipment: str, procedure: str) -> bool:
    """Say whether any document for this kind of equipment has the discharge procedure that an order agrees."""
    return any(
        rule.choice and rule.name == procedure
        for pack in packs
        if equipment in pack.equipment
        for rule in pack.procedures
    )


def agreed_decision(order: Order) -> dict[str, Any]:
    """Return what an order agrees of decisions, in the words of ratings; what is usual is left out."""
    agreed: dict[str, Any] = {"decision_rule": order.decision_rule}
    if order.guard_factor is not None:
        agreed["guard_factor"] = order.guard_factor
    if order.statements == Order.Statements.FOUR:
        agreed["statements"] = order.statements
    return agreed


def proposal_of(*, order: Order, equipment: str, ratings: dict[str, Any]) -> Proposal:
    """Derive the plan from a nameplate and the agreed terms of its order."""
    stated = {name: value for name, value in ratings.items() if name not in ORDER_OWNED | {"equipment"}}
    stated |= {
        "equipment": equipment,
        "standards": list(order.standards),
        **agreed_decision(order),
        "hold_points": list(order.hold_kinds),
        "witness_points": list(order.witness_kinds),
    }
    packs = packs_in_force()
    notes = []
    if knows_procedure(packs, equipment, order.discharge_procedure):
        stated["discharge_procedure"] = order.discharge_procedure
    elif order.discharge_procedure:
        agreed = order.get_discharge_procedure_display()
        notes.append(f"The order agrees “{agreed}”; no document has it for this kind of equipment: its own is used.")
    try:
        document = derive_plan(stated, packs=packs).as_dict()
        document["notes"] += notes
    except BadRatings as refused:
        name = refused.key.split("[")[0]
        label = FIELDS_BY_NAME[name].label if name in FIELDS_BY_NAME else refused.key
        return Proposal(None, "", name, f"{label}: {refused.problem}; {refused.mend}.", name in ORDER_OWNED)
    return Proposal(document, plan_digest(document))


def plan_digest(document: dict[str, Any]) -> str:
    """Return the SHA-256 of a plan's canonical JSON (RFC 8785), in hex."""
    return hashlib.sha256(rfc8785.dumps(document)).hexdigest()
