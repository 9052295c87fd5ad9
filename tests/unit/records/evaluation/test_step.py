"""Steps and set-ups: parsed strictly, refused with key and mend."""

from __future__ import annotations

import math

import pytest

from records.evaluation.setups import BadSetup, Instrument, Setup, StageTimes, parse_setup
from records.evaluation.step import BadStep, Criterion, Stage, parse_step

STAGE = {"name": "withstand", "voltage_kv": 30.0, "hold_s": 60, "tolerance_pct": 3}
CHARGE = {"quantity": "apparent_charge_pc", "max": 100}


def withstand(**changes):
    return {"kind": "power_frequency_withstand", "procedure": {"stages": [STAGE]}, **changes}


def discharge(*criteria):
    return {"kind": "partial_discharge", "procedure": {"stages": [STAGE], "criteria": list(criteria)}}


def test_a_step_in_a_procedure_and_a_flat_one_are_the_same():
    flat = {"kind": "power_frequency_withstand", "stages": [STAGE]}
    assert parse_step(withstand()) == parse_step(flat)
    assert parse_step(flat).stages == (Stage("withstand", 30.0, 60.0, 3.0),)


def test_the_step_of_the_design_is_understood():
    step = parse_step(
        {
            "kind": "partial_discharge",
            "title": "Discharge",
            "point": "witness",
            "procedure": {
                "stages": [
                    {"name": "prestress", "voltage_kv": 30.0, "hold_s": 60, "tolerance_pct": 3},
                    {"name": "measurement", "voltage_kv": 18.71, "hold_s": 120, "tolerance_pct": 3},
                ],
                "threshold_pc": 10,
                "criteria": [
                    {
                        "quantity": "apparent_charge_pc",
                        "stage": "measurement",
                        "max": 100,
                        "decision": "simple_acceptance",
                        "judges": "unit",
                    }
                ],
            },
            "basis": [{"document": "practice"}],
        }
    )
    assert step.threshold_pc == 10
    assert step.criteria == (Criterion("apparent_charge_pc", "measurement", None, 100.0),)
    assert step.stage("measurement").hold_s == 120


@pytest.mark.parametrize(("hold_s", "tolerance_pct"), [(10, 1), (60, 1), (61, 3), (300, 3)])
def test_tolerance_where_none_is_stated(hold_s, tolerance_pct):
    stage = {"name": "a", "voltage_kv": 10, "hold_s": hold_s}
    assert parse_step(withstand(procedure={"stages": [stage]})).stages[0].tolerance_pct == tolerance_pct


def test_a_nominal_with_tolerance_gives_two_limits():
    row = {"quantity": "held_voltage_kv", "nominal": 30, "tolerance_pct": 2}
    criterion = parse_step(withstand(procedure={"stages": [STAGE], "criteria": [row]})).criteria[0]
    assert (criterion.minimum, criterion.maximum, criterion.judges) == (29.4, 30.6, "test")


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ([], "one object"),
        ({"steps": []}, "whole plan"),
        ({}, "kind: “None” cannot be evaluated"),
        (withstand(kind="lightning"), "use one of power_frequency_withstand, partial_discharge"),
        (withstand(procedure=3), "procedure: must be an object"),
        (withstand(procedure={}), "stages: at least one is needed"),
        (withstand(procedure={"stages": {}}), "stages: at least one"),
        (withstand(procedure={"stages": [3]}), "stages: must be a list of objects"),
        (withstand(procedure={"stages": [{**STAGE, "name": ""}]}), r"stages\[0\].name: is missing"),
        (withstand(procedure={"stages": [{**STAGE, "voltage_kv": "30"}]}), r"stages\[0\].voltage_kv: “30” is not"),
        (withstand(procedure={"stages": [{**STAGE, "voltage_kv": 0}]}), r"voltage_kv: 0 must be above 0"),
        (withstand(procedure={"stages": [{**STAGE, "voltage_kv": math.nan}]}), r"voltage_kv: “nan” is not a finite"),
        (withstand(procedure={"stages": [{**STAGE, "voltage_kv": True}]}), r"voltage_kv: “True” is not a finite"),
        (withstand(procedure={"stages": [{"name": "a", "voltage_kv": 1}]}), r"stages\[0\].hold_s: is missing"),
        (withstand(procedure={"stages": [{**STAGE, "tolerance_pct": 100}]}), "must be below 100"),
        (withstand(procedure={"stages": [STAGE, STAGE]}), "two are called “withstand”"),
        (discharge(), "criteria: none judges the unit"),
        (discharge({"quantity": "held_s", "min": 60, "judges": "test"}), "criteria: none judges the unit"),
        (discharge({**CHARGE, "quantity": "loudness"}), r"criteria\[0\].quantity: “loudness” is none"),
        (discharge({**CHARGE, "stage": "other"}), r"criteria\[0\].stage: “other” is not among"),
        (discharge({**CHARGE, "judges": "customer"}), r"judges: “customer” must be unit or test"),
        (discharge({**CHARGE, "decision": "dice"}), r"decision: “dice” is not a decision rule"),
        (discharge({**CHARGE, "decision": "customer_defined"}), r"guard_factor: the rule customer_defined needs r"),
        (discharge({**CHARGE, "guard_factor": 2}), r"guard_factor: the rule simple_acceptance has its own"),
        (discharge({"quantity": "apparent_charge_pc"}), r"criteria\[0\]: has no limit"),
        (discharge({**CHARGE, "min": 200}), r"criteria\[0\]: min 200 lies above max 100"),
        (discharge({**CHARGE, "window_s": -1}), r"window_s: -1 must be above 0"),
        (withstand(procedure={"stages": [STAGE], "criteria": [CHARGE]}), "is none of power_frequency_withstand"),
    ],
)
def test_a_bad_step_names_key_and_mend(content, words):
    with pytest.raises(BadStep, match=words):
        parse_step(content)


def test_the_set_up_of_the_design_is_understood():
    setup = parse_setup(
        {
            "background_noise_pc": 4.0,
            "charge_calibration": {"injected_pc": 100, "reading": 97.5},
            "instruments": [{"name": "divider", "relative_uncertainty_pct": 3, "coverage_factor": 2}],
        }
    )
    assert setup == Setup(4.0, 100.0, 97.5, (Instrument("divider", 3.0, 2.0),))
    assert setup.scale_factor == pytest.approx(100 / 97.5)
    assert parse_setup(None) == Setup()
    assert Setup().scale_factor is None


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ([], "one object"),
        ({"noise": 4}, "noise: is not known"),
        ({"background_noise_pc": "4"}, "background_noise_pc: “4” is not"),
        ({"background_noise_pc": -1}, "background_noise_pc: -1 must be at least 0"),
        ({"charge_calibration": 3}, "charge_calibration: must be an object"),
        ({"charge_calibration": {"injected_pc": 100}}, "charge_calibration.reading: “None” is not"),
        ({"charge_calibration": {"injected_pc": 100, "reading": 0}}, "charge_calibration.reading: 0 must be above"),
        ({"charge_calibration": {"injected_pc": -5, "reading": 1}}, "charge_calibration.injected_pc: -5 must be above"),
        ({"instruments": {}, "background_noise_pc": 1, "x": 1}, "x: is not known"),
        ({"instruments": "divider"}, "instruments: must be a list"),
        ({"instruments": [3]}, r"instruments\[0\]: must be an object"),
        ({"instruments": [{"name": "a"}]}, r"instruments\[0\].relative_uncertainty_pct: “None”"),
        ({"instruments": [{"relative_uncertainty_pct": 3, "coverage_factor": 0}]}, "coverage_factor: 0 must be above"),
        ({"instruments": [{"relative_uncertainty_pct": 3, "quantity": "mass"}]}, "quantity: “mass” must be voltage"),
    ],
)
def test_a_bad_set_up_names_key_and_mend(content, words):
    with pytest.raises(BadSetup, match=words):
        parse_setup(content)


def test_the_set_up_states_trip_gating_stages_and_the_last_scale_factor():
    setup = parse_setup(
        {
            "tripped": False,
            "gating_reason": " Crane ",
            "stages": [{"name": "a", "begin_s": 1, "end_s": 61, "voltage_kv": 30}],
            "charge_calibration": {"injected_pc": 100, "reading": 97.5, "last_scale_factor": 1.03},
        }
    )
    assert setup.tripped is False
    assert setup.gating_reason == "Crane"
    assert setup.stage_times == (StageTimes("a", 1.0, 61.0, 30.0),)
    assert setup.last_scale_factor == 1.03


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ({"tripped": "no"}, "tripped: “no” must be true or false"),
        ({"gating_reason": 3}, "gating_reason: “3” must be a text"),
        ({"stages": {}}, "stages: must be a list of objects"),
        ({"stages": [{"begin_s": 1, "end_s": 2}]}, r"stages\[0\].name: is missing"),
        ({"stages": [{"name": "a", "begin_s": 2, "end_s": 2}]}, r"stages\[0\].end_s: 2 must be above 2"),
        ({"stages": [{"name": "a", "begin_s": 0, "end_s": 1e9}]}, "longer than a week"),
        ({"stages": [{"name": "a", "begin_s": 0, "end_s": 1, "voltage_kv": -1}]}, "voltage_kv: -1 must be at least 0"),
        (
            {"charge_calibration": {"injected_pc": 1, "reading": 1, "last_scale_factor": 0}},
            "charge_calibration.last_scale_factor: 0 must be above 0",
        ),
    ],
)
def test_a_bad_statement_names_key_and_mend(content, words):
    with pytest.raises(BadSetup, match=words):
        parse_setup(content)
