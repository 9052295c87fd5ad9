"""Orders: entering, changing and reviewing what was agreed with the customer."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Any

from django.utils import timezone

from equipment.metrology.conformity import has_guard_band
from labsite.ledger.services import change_fields, create_with_entry, writing
from labsite.people.models import Organisation
from labsite.people.services.numbering import next_number
from schedules.models import Order
from schedules.rules import FIELDS_BY_NAME, STEP_KINDS
from schedules.services.refusals import Refusal, ScheduleRefused
from schedules.services.rights import require

AGREED_TERMS = (
    *("customer", "standards", "decision_rule", "guard_factor", "statements"),
    *("discharge_procedure", "hold_kinds", "witness_kinds"),
)
"""What the contract review agrees; changing one of them undoes the review."""

EDITABLE = (*AGREED_TERMS, "purchase_reference", "wanted_on", "remarks")


def enter_order(
    *,
    customer: Organisation,
    purchase_reference: str,
    standards: Iterable[str] = (),
    decision_rule: str = Order.DecisionRule.SIMPLE_ACCEPTANCE,
    guard_factor: float | None = None,
    statements: str = Order.Statements.TWO,
    discharge_procedure: str = Order.DischargeProcedure.AGREED_PRACTICE,
    hold_kinds: Iterable[str] = (),
    witness_kinds: Iterable[str] = (),
    wanted_on: date | None = None,
    remarks: str = "",
    by: Any,
) -> Order:
    """Enter an order under its next number; it waits for the contract review.

    Refuses a customer that is the laboratory itself, a missing purchase reference, unknown rules or kinds of test, a
    customer's own rule without its factor, statements of four states by a rule that has no guard band, and a kind of
    test that is a hold point and a witness point at once.
    """
    require(by, "enter_order")
    terms = {
        "customer": customer,
        "purchase_reference": purchase_reference,
        "standards": standards,
        "decision_rule": decision_rule,
        "guard_factor": guard_factor,
        "statements": statements,
        "discharge_procedure": discharge_procedure,
        "hold_kinds": hold_kinds,
        "witness_kinds": witness_kinds,
        "wanted_on": wanted_on,
        "remarks": remarks,
    }
    terms = _tidied(terms)
    _check(terms)
    with writing():
        number = next_number(series="order", year=timezone.localdate().year)
        order = Order(number=number, entered_by=by, **terms)
        return create_with_entry(instance=order, action="order.entered", by=by)


def edit_order(*, order: Order, version: int, changes: dict[str, Any], reason: str = "", by: Any) -> Order:
    """Change an order as its editor saw it at `version`; agreed terms that change undo a review that was done.

    Refuses fields that nobody may set, what `enter_order` refuses, a change of agreed terms after the review without a
    reason, and another customer once units were entered. Raises `StaleEdit` when the order moved on.
    """
    require(by, "edit_order")
    changes = _tidied(changes)
    unknown = sorted(set(changes) - set(EDITABLE))
    if unknown:
        raise ScheduleRefused.of(f"An order has no field to change named {', '.join(unknown)}.")
    with writing():
        row = Order.objects.select_for_update().get(pk=order.pk)
        undone = _undone_review(row, changes, reason) if row.version == version else {}
        return change_fields(
            instance=row,
            version=version,
            changes=changes | undone,
            action="order.changed",
            reason=reason.strip(),
            by=by,
        )


def review_contract(*, order: Order, version: int | None = None, by: Any) -> Order:
    """Put down that the agreed terms were reviewed (ISO/IEC 17025 7.1), by whom and when.

    Refuses an order that is reviewed already, and one that changed since `version` was read.
    """
    require(by, "review_contract")
    with writing():
        row = Order.objects.select_for_update().get(pk=order.pk)
        if version is not None and row.version != version:
            raise ScheduleRefused.of(f"{row.number} was changed after you opened it. Read it again, then review it.")
        if row.is_reviewed:
            raise ScheduleRefused.of(f"The contract of {row.number} was already reviewed by {row.reviewed_by}.")
        changes = {"reviewed_by": by, "reviewed_at": timezone.now()}
        return change_fields(instance=row, version=row.version, changes=changes, action="order.reviewed", by=by)


def _undone_review(row: Order, changes: dict[str, Any], reason: str) -> dict[str, Any]:
    """Check a change of an order; return what has to change with it: the review, when agreed terms move."""
    _check({name: changes.get(name, getattr(row, name)) for name in EDITABLE})
    moved = [name for name in AGREED_TERMS if name in changes and changes[name] != getattr(row, name)]
    if "customer" in moved and row.units.exists():
        raise ScheduleRefused.of(
            "The customer of an order with units stays. Enter a new order for the other customer.", "customer"
        )
    if not (row.is_reviewed and moved):
        return {}
    if not reason.strip():
        raise ScheduleRefused.of(
            "The contract was reviewed. Say why the agreed terms change: the review will have to be done again.",
            "reason",
        )
    return {"reviewed_by": None, "reviewed_at": None}


def _tidied(terms: dict[str, Any]) -> dict[str, Any]:
    """Return texts without blanks around them and lists without blanks or repeats."""
    tidy = dict(terms)
    for name in ("standards", "hold_kinds", "witness_kinds"):
        if name in tidy:
            tidy[name] = list(dict.fromkeys(word.strip() for word in tidy[name] if word.strip()))
    for name in ("purchase_reference", "remarks"):
        if name in tidy:
            tidy[name] = tidy[name].strip()
    return tidy


def _refused_decision(terms: dict[str, Any]) -> list[Refusal]:
    """Return what is wrong with the decision rule, its guard factor and the statements asked for."""
    found = []
    rule, factor = terms["decision_rule"], terms["guard_factor"]
    if rule not in Order.DecisionRule.values:
        found.append(Refusal("decision_rule", f"Choose one of {', '.join(Order.DecisionRule.values)}."))
    is_own = rule == Order.DecisionRule.CUSTOMER_DEFINED
    if is_own and factor is None:
        found.append(Refusal("guard_factor", "Give r of the guard band w = r·U that the customer named."))
    if factor is not None and not is_own:
        found.append(Refusal("guard_factor", "Only the customer's own rule has a factor; leave it empty."))
    field = FIELDS_BY_NAME["guard_factor"]
    if factor is not None and not field.least <= factor <= field.most:
        found.append(Refusal("guard_factor", f"Give a number from {field.least:g} to {field.most:g}."))
    if terms["statements"] not in Order.Statements.values:
        found.append(Refusal("statements", f"Choose one of {', '.join(Order.Statements.values)}."))
    if terms["statements"] == Order.Statements.FOUR and not has_guard_band(rule, factor):
        found.append(
            Refusal("statements", "Four states need a guard band: without one nothing lies between pass and fail.")
        )
    return found


def _check(terms: dict[str, Any]) -> None:
    found = []
    if terms["customer"].is_laboratory:
        found.append(Refusal("customer", f"{terms['customer']} is the laboratory itself, not a customer."))
    if not terms["purchase_reference"]:
        found.append(Refusal("purchase_reference", "Give the customer's own reference of the purchase."))
    elif len(terms["purchase_reference"]) > 120:
        found.append(Refusal("purchase_reference", "Shorten the purchase reference to 120 characters."))
    found += _refused_decision(terms)
    if terms["discharge_procedure"] not in Order.DischargeProcedure.values:
        found.append(
            Refusal("discharge_procedure", f"Choose one of {', '.join(filter(None, Order.DischargeProcedure.values))}.")
        )
    for name in ("hold_kinds", "witness_kinds"):
        unknown = [kind for kind in terms[name] if kind not in STEP_KINDS]
        if unknown:
            found.append(Refusal(name, f"There is no kind of test named {', '.join(unknown)}."))
    both = sorted(STEP_KINDS[kind] for kind in set(terms["hold_kinds"]) & set(terms["witness_kinds"]) & set(STEP_KINDS))
    if both:
        found.append(Refusal("witness_kinds", f"{', '.join(both)}: a hold point or a witness point, not both."))
    if found:
        raise ScheduleRefused(*found)
