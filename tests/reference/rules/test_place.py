"""Levels at the place: worked cases of Kt, and one reference height at a time; sources in SOURCE.md."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from schedules.rules import BadRatings, derive_plan, load_packs
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
    assert altitude["formula_document"] == {"1000_m": "IEC 62271-1", "sea_level": "IEC 60071-2"}[reference]


HIGH = {"equipment": "metal_enclosed_switchgear", "highest_voltage_kv": 24, "lightning_impulse_kv": 125}
HIGH |= {"standards": ["IEC 62271-1"], "altitude_m": 2000, "tests": ["routine", "type"]}
HIGH |= {"temperature_rise_limit_k": 65}


def planned(kind, **more):
    return next(one for one in derive_plan(HIGH | more).as_dict()["steps"] if one["kind"] == kind)


def test_the_type_test_of_external_insulation_is_raised_for_the_site():
    """Ka = exp((2000 − 1000)/8150) = 1.1305 (IEC 62271-1, from memory): 125 kV is asked as 141.32 kV."""
    step = planned("lightning_impulse")
    assert (step["altitude"]["use"], step["altitude"]["document"]) == ("applied", "IEC 62271-1")
    assert step["altitude"]["words"].startswith("External insulation")
    assert step["altitude"]["confidence"] == "memory"
    for stage in step["procedure"]["stages"]:
        assert (stage["level_kv"], stage["altitude_factor"]) == (125, pytest.approx(1.1305, abs=5e-5))
        assert stage["exact_kv"] == pytest.approx(125 * math.exp(1000 / 8150), abs=1e-5)
        assert stage["set_point_kv"] >= stage["voltage_kv"] >= stage["exact_kv"]
    reasons = {one["of"]: one for one in step["basis"]}
    assert reasons["values.altitude_factor"]["document"] == "IEC 62271-1"
    assert reasons["stages.full_positive.voltage_kv"]["formula"] == "(lightning_impulse_kv) * altitude_factor"
    assert step["evidence"]["must_be_equal"][-2:] == ["altitude_m", "altitude_levels"]


def test_routine_tests_stay_at_the_rated_level_and_say_why():
    """Common practice, no source."""
    step = planned("power_frequency_withstand")
    assert (step["altitude"]["use"], step["altitude"]["confidence"]) == ("stated", "common practice")
    assert step["procedure"]["stages"][0]["set_point_kv"] == 50
    assert "altitude_factor" not in step["procedure"]["stages"][0]
    (told,) = [one for one in derive_plan(HIGH).warnings if "2000 m" in one]
    assert "raises the set points of Lightning impulse" in told
    assert "does not raise the set points of Power-frequency withstand" in told


@pytest.mark.parametrize(("agreed", "routine_kv", "type_kv"), [("raised", 56.55, 141.35), ("as_rated", 50, 125)])
def test_the_order_may_agree_otherwise(agreed, routine_kv, type_kv):
    """50 and 125 kV times 1.1305, set at the next 0.05 kV."""
    found = [planned(kind, altitude_levels=agreed) for kind in ("power_frequency_withstand", "lightning_impulse")]
    assert [one["procedure"]["stages"][0]["set_point_kv"] for one in found] == [routine_kv, type_kv]
    assert {one["altitude"]["clause"] for one in found} == {"as agreed in the order"}
    assert "evidence" not in found[0]


def test_an_agreement_on_the_altitude_needs_the_altitude():
    with pytest.raises(BadRatings, match="altitude_m: is missing"):
        derive_plan({key: value for key, value in HIGH.items() if key != "altitude_m"} | {"altitude_levels": "raised"})


def test_below_the_reference_height_nothing_is_raised():
    step = planned("lightning_impulse", altitude_m=900)
    assert [(one["altitude_factor"], one["voltage_kv"]) for one in step["procedure"]["stages"]] == [(1, 125)] * 2
    assert "altitude_m" not in step["evidence"]["must_be_equal"]


def test_what_is_not_external_insulation_knows_no_altitude():
    steps = derive_plan(HIGH | {"secondary_wiring": "fitted", "altitude_levels": "raised"}).as_dict()["steps"]
    (wiring,) = [one for one in steps if one["pattern"] == "secondary_to_earth"]
    assert "altitude" not in wiring
    assert wiring["procedure"]["stages"][0]["voltage_kv"] == 2


def test_levels_without_a_reference_height_say_so():
    dry = {"equipment": "capacitor_unit", "highest_voltage_kv": 12, "rated_voltage_kv": 7.2, "rated_mvar": 0.2}
    dry |= {
        "terminal_to_case_kv": 28,
        "altitude_m": 2500,
        "standards": ["IEEE 18", "Reactive units by insulation level"],
    }
    dry |= {"dissipation_factor_limit": 0.001}
    assert derive_plan(dry).altitude is not None
    unsaid = replace(load_pack("reactive_unit_levels"), altitude_reference="")
    packs = [unsaid if pack.name == unsaid.name else pack for pack in load_packs()]
    plan = derive_plan(dry, packs)
    assert plan.altitude is None
    assert any("does not say up to which height its levels hold" in one for one in plan.warnings)


def load_pack(name):
    (found,) = [pack for pack in load_packs() if pack.name == name]
    return found


def test_the_factor_of_the_site_and_that_of_the_air_are_both_counted():
    """The raised level is one at the reference atmosphere; Kt brings it to the air of the run."""
    step = planned("lightning_impulse", discharge_path_m=0.22)
    (first, _) = stages_at_place(step, 20.0, 101.3, humidity_pct(11, 20))
    assert (first.document_kv, first.altitude_factor) == (125, pytest.approx(1.1305, abs=5e-5))
    assert first.correction.set_point_kv == pytest.approx(141.35, abs=1e-9)


def test_what_the_air_would_change_is_noted_where_no_path_is_stated():
    assert any("not corrected for the air of the run" in one for one in derive_plan(HIGH).notes)
    assert not any("air of the run" in one for one in derive_plan(HIGH | {"discharge_path_m": 0.2}).notes)


def test_a_bushing_is_not_raised_from_sea_level_unless_that_is_agreed():
    """IEC 60137 holds up to 1000 m and its levels here are those of IEC 60071-1, whose factor counts from 0 m."""
    bushing = {"equipment": "bushing", "highest_voltage_kv": 24, "lightning_impulse_kv": 125, "altitude_m": 900}
    bushing |= {"insulation_medium": "solid", "dissipation_factor_limit": 0.01, "tests": ["type"]}
    found = {}
    for agreed in ({}, {"altitude_levels": "raised"}):
        (step,) = [one for one in derive_plan(bushing | agreed).steps if one.kind == "lightning_impulse"]
        found[bool(agreed)] = (step.altitude.use, step.procedure.stages[0].exact_kv)
    assert found == {False: ("stated", 125), True: ("applied", pytest.approx(125 * math.exp(900 / 8150), abs=1e-5))}
