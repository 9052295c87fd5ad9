"""Capacitor units, reactors and tuned filters: figures typed independently of the packs; sources in SOURCE.md."""

from __future__ import annotations

import math

import pytest

from schedules.rules import BadRatings, derive_plan

UNIT = {"equipment": "capacitor_unit", "highest_voltage_kv": 15.5, "rated_voltage_kv": 7.2, "rated_mvar": 0.2}
IEEE = UNIT | {"terminal_to_case_kv": 34, "dissipation_factor_limit": 0.001}
IEC = UNIT | {
    "highest_voltage_kv": 17.5,
    "standards": ["IEC 60871-1"],
    "capacitance_tolerance_pct": 5,
    "capacitance_change_limit_pct": 1.5,
    "dissipation_factor_limit": 0.001,
}
REACTOR = {
    "equipment": "series_reactor",
    "highest_voltage_kv": 15.5,
    "lightning_impulse_kv": 110,
    "inductance_mh": 5,
    "inductance_tolerance_pct": 3,
}
SHUNT = REACTOR | {"equipment": "shunt_reactor"}
FILTER = {
    "equipment": "tuned_filter",
    "highest_voltage_kv": 15.5,
    "inductance_mh": 6.371,
    "inductance_tolerance_pct": 3,
    "capacitance_uf": 50,
    "capacitance_tolerance_pct": 5,
    "tuned_order": 4.7,
    "tuning_tolerance_pct": 2,
}


def withstands(ratings):
    return [
        (stage.exact_kv, stage.hold_s)
        for step in derive_plan(ratings).steps
        if step.kind == "power_frequency_withstand"
        for stage in step.procedure.stages
    ]


@pytest.mark.parametrize(
    ("ratings", "factor"),
    [
        (IEEE, 2.0),
        (IEEE | {"terminal_test": "alternating"}, 2.0),
        (IEEE | {"terminal_test": "direct"}, 4.3),
        (IEC, 2.0),
        (IEC | {"terminal_test": "alternating"}, 2.0),
        (IEC | {"terminal_test": "direct"}, 4.0),
    ],
)
def test_terminal_to_terminal(ratings, factor):
    """From memory: 2.0 × rated AC or 4.3 × (IEEE 18), 4.0 × (IEC 60871-1) rated as DC, each 10 s."""
    assert withstands(ratings)[0] == (pytest.approx(factor * 7.2), 10)


def test_terminal_to_case():
    """IEEE 18: asked for by name. IEC 60871-1, from memory: level of the insulation class (38 kV at 17.5 kV), 10 s."""
    assert withstands(IEEE)[1] == (34, 10)
    assert withstands(IEC)[1] == (38, 10)


def test_capacitance_before_and_after():
    """IEEE 18-1992, excerpt: change below 2 %. From memory: output 100 to 110 %. C = Q/(ω·U²) = 10.2337 µF."""
    steps = [step for step in derive_plan(IEEE).steps if step.kind == "capacitance"]
    rated_uf = 0.2e6 / (2 * math.pi * 60 * 7200**2) * 1e6
    before, after = ({one.quantity: (one.minimum, one.maximum) for one in step.procedure.criteria} for step in steps)
    assert before == {"capacitance_uf": (pytest.approx(rated_uf), pytest.approx(1.1 * rated_uf))}
    assert after["capacitance_change_pct"] == (None, 2)
    agreed = derive_plan(IEEE | {"capacitance_change_limit_pct": 0.8}).steps
    assert [
        one.maximum for step in agreed for one in step.procedure.criteria if one.quantity == "capacitance_change_pct"
    ] == [0.8]
    changes = [
        one.maximum
        for step in derive_plan(IEC).steps
        for one in step.procedure.criteria
        if one.quantity == "capacitance_change_pct"
    ]
    assert changes == [1.5]


@pytest.mark.parametrize("ratings", [IEEE, IEC])
def test_the_later_capacitance_names_the_step_before(ratings):
    """Its change is judged against the one before: below 2 % (IEEE 18-1992, excerpt) or one element (the order)."""
    steps = derive_plan(ratings).as_dict()["steps"]
    (place,) = [index for index, one in enumerate(steps) if one["procedure"]["name"] == "capacitance_after"]
    earlier = steps[place]["procedure"]["compared_with"]
    before = steps[earlier["position"] - 1]
    assert earlier == {
        "position": earlier["position"],
        "title": before["title"],
        "procedure": "capacitance_before",
    }
    assert before["procedure"]["name"] == "capacitance_before"
    dielectric = [index for index, one in enumerate(steps) if one["kind"] == "power_frequency_withstand"]
    assert earlier["position"] - 1 < min(dielectric) <= max(dielectric) < place
    assert [one for one in steps if "compared_with" in one["procedure"]] == [steps[place]]


def test_order_of_a_capacitor_units_steps():
    """Capacitance before and after the dielectric tests."""
    assert [step.procedure.name for step in derive_plan(IEEE).steps] == [
        "capacitance_before",
        "terminals_ac",
        "terminal_to_case",
        "capacitance_after",
        "discharge_device",
        "dissipation_factor",
    ]


@pytest.mark.parametrize(
    ("ratings", "missing"),
    [
        (UNIT, "terminal_to_case_kv"),
        (UNIT | {"terminal_to_case_kv": 34}, "dissipation_factor_limit"),
        ({key: IEC[key] for key in IEC if key != "capacitance_tolerance_pct"}, "capacitance_tolerance_pct"),
        ({key: IEC[key] for key in IEC if key != "capacitance_change_limit_pct"}, "capacitance_change_limit_pct"),
        (REACTOR | {"standards": ["IEEE C57.16"], "inductance_tolerance_pct": None}, "inductance_tolerance_pct"),
        (REACTOR | {"standards": ["IEEE C57.16"], "tuned_order": 4.7}, "quality_factor"),
        (REACTOR | {"standards": ["IEC 60076-6"], "tests": ["type"]}, "temperature_rise_limit_k"),
        (FILTER | {"tuning_tolerance_pct": None}, "tuning_tolerance_pct"),
        (
            {"equipment": "bushing", "highest_voltage_kv": 24, "dissipation_factor_limit": 0.01},
            "insulation_medium",
        ),
        (
            {
                "equipment": "bushing",
                "highest_voltage_kv": 24,
                "dissipation_factor_limit": 0.01,
                "insulation_medium": "liquid_or_gas",
            },
            "discharge_test_voltage_kv",
        ),
        ({"equipment": "instrument_transformer", "highest_voltage_kv": 24}, "transformer_type"),
    ],
)
def test_figures_of_which_nobody_is_sure_are_asked_for_by_name(ratings, missing):
    with pytest.raises(BadRatings) as refused:
        derive_plan(ratings)
    assert refused.value.key == missing
    assert refused.value.problem == "is missing"


@pytest.mark.parametrize(
    ("ratings", "kinds"),
    [
        (
            REACTOR | {"standards": ["IEEE C57.16"]},
            ["winding_resistance", "inductance", "inductance", "power_frequency_withstand", "partial_discharge"],
        ),
        (
            REACTOR
            | {
                "standards": ["IEC 60076-6"],
                "tuned_order": 4.7,
                "quality_factor": 40,
                "quality_factor_tolerance_pct": 20,
            },
            [
                "winding_resistance",
                "inductance",
                "inductance",  # losses
                "frequency_response",
                "power_frequency_withstand",
                "power_frequency_withstand",  # the winding's own insulation
                "partial_discharge",
            ],
        ),
        (
            SHUNT | {"standards": ["IEEE C57.21"], "tests": ["routine", "type"], "temperature_rise_limit_k": 80},
            [
                "winding_resistance",
                "inductance",
                "inductance",  # losses
                "lightning_impulse",
                "power_frequency_withstand",
                "partial_discharge",
                "temperature_rise",
            ],
        ),
        (
            FILTER,
            ["capacitance", "inductance", "frequency_response", "power_frequency_withstand", "partial_discharge"],
        ),
    ],
)
def test_lists_of_reactors_and_filters(ratings, kinds):
    """Lists from memory (C57.16, 60076-6, C57.21) and common practice (filters): resistance before any heating."""
    assert [step.kind for step in derive_plan(ratings).steps] == kinds


def test_limits_of_a_filter_are_those_of_the_order():
    limits = {
        one.quantity: (one.nominal, one.tolerance_pct)
        for step in derive_plan(FILTER).steps
        for one in step.procedure.criteria
        if one.nominal is not None
    }
    assert limits == {"capacitance_uf": (50, 5), "inductance_mh": (6.371, 3), "tuned_order": (4.7, 2)}
