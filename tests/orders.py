"""Orders, units and plans for tests, made by the real services."""

from __future__ import annotations

from typing import Any

from schedules.models import Order, Plan, Unit
from schedules.services.orders import enter_order, review_contract
from schedules.services.plans import adopt_plan
from schedules.services.units import enter_units

REACTOR = {"highest_voltage_kv": 15.5, "lightning_impulse_kv": 110}
"""The check value of the trade: 15.5 kV, 110 kV BIL (common practice, no source)."""


def an_order(*, customer: Any, by: Any, reviewed_by: Any = None, **terms: Any) -> Order:
    """Return a new order, reviewed if somebody is named for it."""
    order = enter_order(customer=customer, by=by, **{"purchase_reference": "PO 4711", **terms})
    return review_contract(order=order, by=reviewed_by) if reviewed_by is not None else order


def a_unit(*, order: Order, by: Any, serial: str = "SR-001", **plate: Any) -> Unit:
    """Return one new unit, a series reactor unless told otherwise."""
    plate = {"equipment": "series_reactor", "ratings": dict(REACTOR), **plate}
    return enter_units(order=order, serials=[serial], by=by, **plate)[0]


def a_plan(*, unit: Unit, by: Any) -> Plan:
    """Return the adopted plan of a unit."""
    return adopt_plan(unit=unit, by=by)
