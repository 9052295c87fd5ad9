"""Every step that a plan can hold is understood by the evaluation: kinds, quantities, stages and keys agree."""

from __future__ import annotations

import pytest

from records.evaluation.impulse.acceptance import SEQUENCES
from records.evaluation.kinds import KINDS
from records.evaluation.step import parse_step
from schedules.rules import STEP_KINDS, derive_plan, load_packs, pack_schema

EVERY = {"tests": ["routine", "type", "special"], "temperature_rise_limit_k": 80, "dissipation_factor_limit": 0.001}
COIL = {
    "inductance_mh": 5,
    "inductance_tolerance_pct": 3,
    "turn_to_turn_kv": 30,
    "winding_material": "copper",
    "loss_limit_w": 900,
}
DUTY = {"tuned_order": 4.7, "quality_factor": 40, "quality_factor_tolerance_pct": 20}
CAN = {
    "equipment": "capacitor_unit",
    "highest_voltage_kv": 12,
    "rated_voltage_kv": 7.2,
    "rated_mvar": 0.2,
    "terminal_to_case_kv": 28,
    "capacitance_tolerance_pct": 5,
    "capacitance_change_limit_pct": 1.5,
    "lightning_impulse_kv": 75,
}
REACTOR = {"equipment": "series_reactor", "highest_voltage_kv": 15.5, "lightning_impulse_kv": 110} | COIL | DUTY
PLATES = [
    REACTOR | {"standards": ["IEEE C57.16"]},
    REACTOR | {"standards": ["IEC 60076-6"]},
    {"equipment": "shunt_reactor", "highest_voltage_kv": 15.5, "standards": ["IEEE C57.21"]}
    | COIL
    | {"lightning_impulse_kv": 110},
    {
        "equipment": "tuned_filter",
        "highest_voltage_kv": 15.5,
        "branches": [{"tuned_order": 4.7, "capacitance_uf": 50}, {"tuned_order": 6.8, "capacitance_uf": 40}],
        "tuning_tolerance_pct": 2,
        "inductance_tolerance_pct": 3,
        "capacitance_tolerance_pct": 5,
        "discharge_path_m": 0.3,
    },
    CAN | {"standards": ["IEEE 18"]},
    CAN | {"standards": ["IEC 60871-1"], "terminal_test": "direct"},
    {
        "equipment": "dry_type_transformer",
        "highest_voltage_kv": 17.5,
        "rated_voltage_kv": 13.8,
        "lightning_impulse_kv": 95,
        "neutral_earthing": "isolated",
        "winding_material": "aluminium",
    },
    {
        "equipment": "instrument_transformer",
        "highest_voltage_kv": 17.5,
        "lightning_impulse_kv": 95,
        "transformer_type": "current",
        "insulation_medium": "solid",
    },
    {
        "equipment": "metal_clad_switchgear",
        "highest_voltage_kv": 24,
        "lightning_impulse_kv": 125,
        "standards": ["IEC 62271-1", "IEC 62271-200"],
        "charge_limit_pc": 20,
        "main_circuit_resistance_uohm": 50,
        "secondary_wiring": "fitted",
    },
    {"equipment": "metal_enclosed_switchgear", "highest_voltage_kv": 15.5, "secondary_wiring": "fitted"},
    {
        "equipment": "bushing",
        "highest_voltage_kv": 24,
        "lightning_impulse_kv": 125,
        "insulation_medium": "solid",
    },
]


def steps(plate):
    return derive_plan(plate | EVERY).as_dict()["steps"]


@pytest.mark.parametrize(
    "plate", PLATES, ids=lambda plate: f"{plate['equipment']}-{plate.get('standards', ['usual'])[0]}"
)
def test_the_evaluation_takes_each_step_as_it_was_planned(plate):
    for document in steps(plate):
        step = parse_step(document)
        planned = document["procedure"]
        assert len(step.stages) == len(planned.get("stages", []))
        assert [one.quantity for one in step.criteria] == [one["quantity"] for one in planned["criteria"]]


def test_the_plans_hold_every_kind_that_there_is():
    assert {document["kind"] for plate in PLATES for document in steps(plate)} == set(STEP_KINDS) == set(KINDS)


def test_packs_and_evaluation_know_the_same_sequences_of_impulses():
    known = pack_schema()["$defs"]["procedure"]["properties"]["acceptance"]["enum"]
    assert set(known) == {"", *SEQUENCES}
    (acceptance,) = [key for key in KINDS["lightning_impulse"].keys if key.name == "acceptance"]
    assert set(acceptance.choices) == set(SEQUENCES)


def test_packs_ask_only_for_quantities_that_the_kind_has():
    odd = [
        (pack.name, rule.name, quantity)
        for pack in load_packs()
        for rule in pack.procedures
        for quantity in (*(one.quantity for one in rule.criteria), *rule.report)
        if quantity not in KINDS[rule.kind].quantities
    ]
    assert odd == []
