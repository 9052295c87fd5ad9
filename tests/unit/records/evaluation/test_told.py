"""Inception, extinction and time to extinction are told of every discharge record, limit or not."""

from records.evaluation.evaluating import evaluate
from records.evaluation.setups import Setup
from records.evaluation.synthesis import Discharges, Hold, synthesise_discharge

STEP = {
    "kind": "partial_discharge",
    "title": "Partial discharge",
    "procedure": {
        "stages": [
            {"name": "prestress", "voltage_kv": 30.0, "hold_s": 60, "tolerance_pct": 3},
            {"name": "measurement", "voltage_kv": 18.71, "hold_s": 120, "tolerance_pct": 3},
        ],
        "threshold_pc": 10,
        "criteria": [
            {"quantity": "apparent_charge_pc", "stage": "measurement", "max": 100, "judges": "unit"},
        ],
    },
}
HOLDS = [Hold(30.0, 64), Hold(18.71, 126)]


def _told(discharges):
    recording = synthesise_discharge(HOLDS, discharges, seed=5, ripple=0.0)
    result = evaluate(STEP, [recording], Setup(background_noise_pc=4.0))
    return result.verdict, {finding.quantity: finding for finding in result.findings}


def test_a_unit_that_discharges_while_stressed_has_its_three_values_told():
    verdict, findings = _told(Discharges(inception_kv=24.0, extinction_kv=20.5, charge_pc=300.0))
    assert verdict == "conforms"
    # The slope is 2 kV/s and a sample 0.1 s: a value read at a sample lies within 0.2 kV of the constructed one.
    assert abs(findings["inception_voltage_kv"].value - 24.0) <= 0.2
    assert abs(findings["extinction_voltage_kv"].value - 20.5) <= 0.2
    assert findings["time_to_extinction_s"].value == 0.0
    assert findings["inception_voltage_kv"].maximum is None


def test_a_quiet_unit_has_no_inception_and_still_conforms():
    verdict, findings = _told(None)
    assert verdict == "conforms"
    assert findings["inception_voltage_kv"].value is None
    assert "No discharge above 10 pC" in findings["inception_voltage_kv"].reason


def test_what_is_told_is_not_judged():
    verdict, findings = _told(Discharges(inception_kv=12.0, extinction_kv=11.0, charge_pc=50.0))
    assert verdict == "conforms"
    assert findings["extinction_voltage_kv"].value is None
    assert findings["extinction_voltage_kv"].verdict == "conforms"
