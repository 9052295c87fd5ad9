"""Orders in lists, and all that the page of one order shows."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.db.models import Q, QuerySet

from schedules.models import Order, Unit
from schedules.selectors.plans import kinds_in_words
from schedules.selectors.units import UnitRow, unit_overview, unit_rows, units_matching


def orders_matching(viewer: Any, *, words: str = "", review: str = "") -> QuerySet[Order]:
    """Return the visible orders that fit the words; `review` is "waiting", "done" or empty for all."""
    # Said again, because the count of units takes the order of the model away.
    orders = Order.objects.visible_to(viewer).for_list().order_by("-pk")
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
