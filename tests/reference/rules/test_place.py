"""Levels at the place: worked cases of Kt, and one reference height at a time; sources in SOURCE.md."""

from __future__ import annotations

import math

import pytest

from schedules.rules import derive_plan
from schedules.rules.place import air_of, document_at_place, stages_at_place

SWITCHGEAR = {"equipment": "metal_enclosed_switchgear", "highest_voltage_kv": 15.5, "discharge_path_m": 0.22}


def step(**more):
    return derive_plan(SWITCHGEAR | more).as_dict()["steps"][0]


def humidity_pct(grams, temperature_c):
    """Invert h = 6.11·R·exp(17.6t/(243 + t))/(0.4615·(273 + t)) for R."""
    return grams * 0.4615 * (273 + temperature_c) / (6.11 * math.exp(17.6 * temperature_c / (243 + temperature_c)))


def test_reference_atmosphere_changes_nothing():
    (stage,) = stages_at_place(step(), 20.0, 101.3, humidity_pct(11, 20))
    assert stage.correction.factor == pytest.approx(1, abs=1e-12)
    assert (stage.planned_kv, stage.correction.set_point_kv) == (50, 50)


def test_worked_case_b():
    """25 °C, 98.6 kPa, 12 g/m³, 50 kV over 0.22 m: Kt 0.99487, 49.74 kV; worked by hand."""
    (stage,) = stages_at_place(step(), 25.0, 98.6, humidity_pct(12, 25))
    assert stage.correction.factor == pytest.approx(0.99487, abs=5e-6)
    assert stage.correction.set_point_kv == pytest.approx(49.74, abs=5e-3)
    placed = document_at_place(step(), (stage,))["procedure"]
    assert placed["stages"][0]["voltage_kv"] == pytest.approx(49.7435, abs=5e-4)
    (held,) = [one for one in placed["criteria"] if one["quantity"] == "held_voltage_kv"]
    assert (held["min"], held["max"]) == (
        pytest.approx(0.99 * 49.7435, abs=5e-4),
        pytest.approx(1.01 * 49.7435, abs=5e-4),
    )
    assert [one for one in placed["criteria"] if one["quantity"] == "held_s"] == [
        one for one in step()["procedure"]["criteria"] if one["quantity"] == "held_s"
    ]


def test_out_of_the_formulas_range_is_warned_of():
    """h/δ of 19.85 g/m³ lies above 15, to which the formula for alternating voltage is known to hold."""
    (stage,) = stages_at_place(step(), 30.0, 95.0, humidity_pct(18, 30))
    assert [one for one in stage.correction.warnings if "h/δ is 19.85" in one]


def test_the_step_itself_stays_as_it_was_planned():
    planned = step()
    document_at_place(planned, stages_at_place(planned, 25.0, 98.6, 50.0))
    assert planned == step()


@pytest.mark.parametrize(
    ("kind", "arrangement", "frequency", "path", "found"),
    [
        ("power_frequency_withstand", "each_phase_in_turn", 60.0, 0.2, "alternating"),
        ("power_frequency_withstand", "terminals_to_case", None, 0.2, "direct"),
        ("lightning_impulse", "each_phase_in_turn", 60.0, 0.2, "impulse"),
        ("partial_discharge", "each_phase_in_turn", 60.0, 0.2, None),
        ("power_frequency_withstand", "across_terminals", 60.0, 0.2, None),
        ("power_frequency_withstand", "secondary_to_earth", 60.0, 0.2, None),
        ("power_frequency_withstand", "each_phase_in_turn", 60.0, None, None),
    ],
)
def test_only_dry_external_insulation_is_corrected(kind, arrangement, frequency, path, found):
    air = air_of(kind, arrangement, frequency, path)
    assert (air.kind if air else None) == found


def test_a_step_without_a_path_through_air_is_not_corrected():
    plain = derive_plan({"equipment": "series_reactor", "highest_voltage_kv": 15.5}).as_dict()["steps"][0]
    assert stages_at_place(plain, 30.0, 80.0, 90.0) == ()
    assert document_at_place(plain, ()) == plain


@pytest.mark.parametrize(
    ("standard", "kind", "reference", "factor"),
    [
        ("IEC 62271-1", "metal_enclosed_switchgear", "1000_m", 1.1305),
        ("IEC 60071-1", "metal_enclosed_switchgear", "sea_level", 1.2781),
    ],
)
def test_one_reference_height_for_a_plan(standard, kind, reference, factor):
    """exp((H − 1000)/8150) from IEC 62271-1 and exp(H/8150) from IEC 60071-2 at 2000 m: 1.1305 and 1.2781."""
    plan = derive_plan({"equipment": kind, "highest_voltage_kv": 24, "standards": [standard], "altitude_m": 2000})
    altitude = plan.as_dict()["altitude"]
    assert (altitude["reference"], altitude["document"]) == (reference, standard)
    assert altitude["factor"] == pytest.approx(factor, abs=5e-5)
    (level,) = [one for one in altitude["levels"] if one["name"] == "power_frequency_kv"]
    assert (level["level_kv"], level["raised_kv"]) == (50, pytest.approx(50 * factor, abs=3e-3))
    assert plan.steps[0].procedure.stages[0].voltage_kv == 50
