"""Discharge procedures of each document against figures typed independently of the packs; sources in SOURCE.md."""

from __future__ import annotations

import pytest

from schedules.rules import derive_plan

ROOT_3 = 3**0.5


def discharge(ratings):
    """Give, for each discharge step, its stages (name, exact kV, hold s) and its charge limits by stage."""
    steps = [step for step in derive_plan(ratings).steps if step.kind == "partial_discharge"]
    return [
        (
            [(stage.name, stage.exact_kv, stage.hold_s) for stage in step.procedure.stages],
            {one.stage: one.maximum for one in step.procedure.criteria if one.quantity == "apparent_charge_pc"},
        )
        for step in steps
    ]


def near(number):
    return pytest.approx(number, abs=1e-5)


# IEC 61869-1:2007, Table 3, from memory: neutral, kind, insulation, (factor of Um, limit in pC) of each test voltage.
TABLE_3 = [
    ("effectively_earthed", "current", "liquid_or_gas", (1.0, 10), (1.2 / ROOT_3, 5)),
    ("effectively_earthed", "current", "solid", (1.0, 50), (1.2 / ROOT_3, 20)),
    ("effectively_earthed", "voltage_earthed", "liquid_or_gas", (1.0, 10), (1.2 / ROOT_3, 5)),
    ("effectively_earthed", "voltage_earthed", "solid", (1.0, 50), (1.2 / ROOT_3, 20)),
    ("effectively_earthed", "voltage_unearthed", "liquid_or_gas", (1.2, 5)),
    ("effectively_earthed", "voltage_unearthed", "solid", (1.2, 20)),
    ("isolated", "current", "liquid_or_gas", (1.2, 10), (1.2 / ROOT_3, 5)),
    ("isolated", "current", "solid", (1.2, 50), (1.2 / ROOT_3, 20)),
    ("isolated", "voltage_earthed", "liquid_or_gas", (1.2, 10), (1.2 / ROOT_3, 5)),
    ("isolated", "voltage_earthed", "solid", (1.2, 50), (1.2 / ROOT_3, 20)),
    ("isolated", "voltage_unearthed", "liquid_or_gas", (1.2, 5)),
    ("isolated", "voltage_unearthed", "solid", (1.2, 20)),
    (None, "current", "solid", (1.2, 50), (1.2 / ROOT_3, 20)),
]


@pytest.mark.parametrize(
    ("procedure", "part_of_level", "level_hold_s"), [("procedure_a", 1.0, 60), ("procedure_b", 0.8, 60)]
)
@pytest.mark.parametrize(
    ("um_kv", "ud_kv", "impulse_kv"), [(7.2, 20, 40), (12, 28, 75), (17.5, 38, 95), (24, 50, 125), (52, 95, 250)]
)
@pytest.mark.parametrize("row", TABLE_3, ids=lambda row: "-".join(str(word) for word in row[:3]))
def test_instrument_transformers(row, um_kv, ud_kv, impulse_kv, procedure, part_of_level, level_hold_s):
    neutral, kind, insulation, *voltages = row
    ratings = {
        "equipment": "instrument_transformer",
        "highest_voltage_kv": um_kv,
        "lightning_impulse_kv": impulse_kv,
        "transformer_type": kind,
        "insulation_medium": insulation,
        "discharge_procedure": procedure,
        "neutral_earthing": neutral,
    }
    ((stages, limits),) = discharge(ratings)
    assert stages[0] == ("prestress", near(part_of_level * ud_kv), level_hold_s)
    assert [(kv, hold_s) for _, kv, hold_s in stages[1:]] == [(near(factor * um_kv), 30) for factor, _ in voltages]
    assert [limits[name] for name, _, _ in stages[1:]] == [limit for _, limit in voltages]


def test_worked_value_of_17_5_kv():
    """Procedure B, solid, neutral isolated: 0.8 · 38 = 30.4; 1.2 · 17.5 = 21.0 at 50 pC; 21.0/√3 = 12.124 at 20 pC."""
    ratings = {
        "equipment": "instrument_transformer",
        "highest_voltage_kv": 17.5,
        "transformer_type": "current",
        "insulation_medium": "solid",
        "neutral_earthing": "isolated",
    }
    ((stages, limits),) = discharge(ratings)
    assert [round(kv, 2) for _, kv, _ in stages] == [30.4, 21.0, 12.12]
    assert limits == {"measurement_high": 50, "measurement_low": 20}


def test_no_discharge_test_below_7_2_kv():
    """IEC 61869-1:2007, from memory: Table 3 begins at Um 7.2 kV."""
    assert discharge({"equipment": "instrument_transformer", "highest_voltage_kv": 3.6}) == []


def test_secondary_windings_at_3_kv():
    """IEC 61869-1:2007, from memory: 3 kV r.m.s. for 60 s."""
    step = derive_plan({"equipment": "instrument_transformer", "highest_voltage_kv": 0.72}).steps[1]
    assert [(stage.voltage_kv, stage.hold_s) for stage in step.procedure.stages] == [(3.0, 60.0)]
    assert step.arrangements[0].energised == ("secondary",)


DRY = {"equipment": "dry_type_transformer", "highest_voltage_kv": 17.5, "rated_voltage_kv": 13.8}


def test_dry_type_of_13_8_kv():
    """IEC 60076-11, from memory: 1.8 · 13.8 = 24.84 for 30 s; 1.3 · 13.8 = 17.94 for 180 s; 10 pC."""
    assert discharge(DRY) == [
        ([("prestress", near(24.84), 30), ("measurement", near(17.94), 180)], {"measurement": 10}),
    ]


def test_dry_type_in_an_isolated_network():
    """IEC 60076-11, from memory: also 1.3 Ur for 30 s, then Ur for 180 s, each line terminal earthed in turn."""
    plan = derive_plan(DRY | {"neutral_earthing": "isolated"})
    assert discharge(DRY | {"neutral_earthing": "isolated"})[1] == (
        [("prestress", near(17.94), 30), ("measurement", near(13.8), 180)],
        {"measurement": 10},
    )
    assert [one.earthed for one in plan.steps[-1].arrangements] == [("A", "frame"), ("B", "frame"), ("C", "frame")]


@pytest.mark.parametrize(("source_hz", "hold_s"), [(60, 60), (100, 60), (120, 50), (200, 30), (400, 15), (1000, 15)])
def test_induced_voltage_of_a_50_hz_unit(source_hz, hold_s):
    """From memory: 2 Ur; 120 · 50/f seconds, at least 15 s, 60 s up to twice the rated frequency."""
    steps = derive_plan(DRY | {"frequency_hz": 50, "source_frequency_hz": source_hz}).steps
    applied, induced = [step for step in steps if step.kind == "power_frequency_withstand"]
    (stage,) = induced.procedure.stages
    assert induced.procedure.frequency_hz == source_hz
    assert applied.procedure.frequency_hz == 50
    assert (stage.exact_kv, stage.hold_s) == (near(27.6), near(hold_s))


SWITCHGEAR = {
    "equipment": "metal_enclosed_switchgear",
    "highest_voltage_kv": 24,
    "lightning_impulse_kv": 125,
    "standards": ["IEC 62271-1", "IEC 62271-200"],
    "charge_limit_pc": 20,
}
FULL = ([("prestress", near(1.3 * 24), 10), ("measurement", near(1.1 * 24), 60)], {"measurement": 20})
TO_EARTH = ([("prestress", near(1.3 * 24), 10), ("measurement", near(1.1 * 24 / ROOT_3), 60)], {"measurement": 20})


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        ({}, [FULL]),
        ({"discharge_procedure": "procedure_a"}, [FULL]),
        ({"discharge_procedure": "procedure_b"}, [TO_EARTH]),
        ({"discharge_procedure": "procedure_b", "neutral_earthing": "effectively_earthed"}, [TO_EARTH]),
        ({"discharge_procedure": "procedure_b", "neutral_earthing": "isolated"}, [TO_EARTH, FULL]),
    ],
)
def test_switchgear_procedures_a_and_b(change, expected):
    """IEC 62271-200, informative annex, from memory: 1.3 Ur at least 10 s, then 1.1 Ur or 1.1 Ur/√3; limit agreed."""
    assert discharge(SWITCHGEAR | change) == expected


@pytest.mark.parametrize(("um_kv", "ud_kv"), [(12, 28), (24, 50), (36, 70)])
def test_resin_bushing(um_kv, ud_kv):
    """IEC 60137, from memory: withstand level 60 s; 10 pC at 1.5 Um/√3, 5 pC at 1.05 Um/√3."""
    ratings = {
        "equipment": "bushing",
        "highest_voltage_kv": um_kv,
        "insulation_medium": "solid",
        "dissipation_factor_limit": 0.01,
    }
    ((stages, limits),) = discharge(ratings)
    assert [kv for _, kv, _ in stages] == [near(ud_kv), near(1.5 * um_kv / ROOT_3), near(1.05 * um_kv / ROOT_3)]
    assert limits == {"measurement_high": 10, "measurement_low": 5}
