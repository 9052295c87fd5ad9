"""How long it takes to derive ten thousand plans on one core."""

from __future__ import annotations

import json
import time

import pytest

from schedules.rules import derive_plan

pytestmark = pytest.mark.bench

PLANS = 10_000
MOST_S = 20.0
"""The bound; processor time of one core, so that a busy machine does not count."""

FLOOR_PLANS = 1_000


def orders():
    """Give orders that differ, over six kinds of equipment and each a little another."""
    kinds = [
        {"equipment": "series_reactor", "highest_voltage_kv": 15.5, "lightning_impulse_kv": 110},
        {"equipment": "metal_enclosed_switchgear", "highest_voltage_kv": 27, "standards": ["IEEE C37.20.3"]},
        {
            "equipment": "instrument_transformer",
            "highest_voltage_kv": 17.5,
            "lightning_impulse_kv": 95,
            "transformer_type": "current",
            "insulation_medium": "solid",
        },
        {"equipment": "dry_type_transformer", "highest_voltage_kv": 17.5, "neutral_earthing": "isolated"},
        {
            "equipment": "capacitor_unit",
            "highest_voltage_kv": 15.5,
            "rated_mvar": 0.2,
            "terminal_to_case_kv": 34,
            "dissipation_factor_limit": 0.001,
        },
        {
            "equipment": "tuned_filter",
            "highest_voltage_kv": 15.5,
            "inductance_mh": 6.371,
            "inductance_tolerance_pct": 3,
            "capacitance_uf": 50,
            "capacitance_tolerance_pct": 5,
            "tuned_order": 4.7,
            "tuning_tolerance_pct": 2,
        },
    ]
    for number in range(PLANS):
        yield kinds[number % len(kinds)] | {
            "rated_voltage_kv": 5 + number % 1000 / 125,
            "altitude_m": number % 1500,
            "serial": f"U-{number}",
        }


def test_ten_thousand_plans():
    """The floor is the cheapest thing one could do with a plan: read it back from JSON."""
    text = json.dumps(derive_plan(next(orders())).as_dict())
    begun = time.process_time()
    for _ in range(FLOOR_PLANS):
        json.loads(text)
    floor_s = (time.process_time() - begun) * PLANS / FLOOR_PLANS

    begun = time.process_time()
    steps = sum(len(derive_plan(order).steps) for order in orders())
    spent_s = time.process_time() - begun

    print(f"\n{PLANS} plans, {steps} steps: {spent_s:.1f} s, {spent_s / floor_s:.1f} × reading a plan from JSON")
    assert steps >= 2 * PLANS
    assert spent_s <= MOST_S
