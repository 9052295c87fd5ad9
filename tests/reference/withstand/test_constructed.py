"""Withstand records built sample by sample (see SOURCE.md)."""

from __future__ import annotations

import numpy as np
import pytest

from records.evaluation.evaluating import evaluate
from records.evaluation.setups import parse_setup
from records.readers.recording import Recording

DT = 0.2
STEP = {
    "kind": "power_frequency_withstand",
    "procedure": {"stages": [{"name": "withstand", "voltage_kv": 50.0, "hold_s": 60, "tolerance_pct": 3}]},
}


def record(corners, *, until=None, collapse_at=None):
    at_s, level_kv = np.transpose(np.array(corners, dtype=float))
    time_s = np.arange(round(at_s[-1] / DT) + 1) * DT
    voltage = np.interp(time_s, at_s, level_kv)
    if collapse_at is not None:
        voltage[time_s >= collapse_at] = 0.2
    kept = slice(None) if until is None else time_s <= until
    return Recording(time_s[kept], {"voltage_kv": voltage[kept]})


def ramp(level, hold_s, down_s=20):
    return [(0, 0), (5, 0), (30, level), (30 + hold_s, level), (30 + hold_s + down_s, 0), (60 + hold_s + down_s, 0)]


def measured(evaluation):
    return {finding.quantity: finding for finding in evaluation.findings}


@pytest.mark.parametrize(
    ("corners", "options", "verdict", "words"),
    [
        (ramp(50, 60), {}, "conforms", ""),
        (ramp(51.4, 61), {}, "conforms", ""),  # upper edge 51.5
        (ramp(48.6, 61), {}, "conforms", ""),  # lower edge 48.5
        (ramp(48.4, 90), {}, "not_valid", "The record shows 48.4 kV"),
        (ramp(50, 50), {}, "not_valid", "the plan asks 50 kV ± 3 % for 60 s"),
        (ramp(50, 70), {"until": 80}, "not_valid", "The record ends during the hold."),
        (ramp(53, 70), {}, "not_valid", "The voltage rose to 53 kV."),
        (ramp(50, 70), {"collapse_at": 60}, "does_not_conform", "collapsed from 50 kV"),
        (ramp(50, 70), {"collapse_at": 25}, "does_not_conform", "collapsed from 39."),
        (ramp(56, 70), {"collapse_at": 60}, "not_valid", "above the 51.5 kV that the plan allows"),
        (ramp(50, 70, down_s=3), {}, "conforms", ""),
        (ramp(50, 50, down_s=3), {}, "not_valid", "for 5"),
        ([(0, 0), (5, 0), (30, 50), (92, 50), (92.1, 0), (100, 0)], {}, "conforms", ""),  # switched off after the hold
        ([(0, 0), (100, 0)], {}, "not_valid", "was never reached"),
    ],
)
def test_verdict_and_reason(corners, options, verdict, words):
    evaluation = evaluate(STEP, [record(corners, **options)])
    assert evaluation.verdict == verdict
    reasons = " ".join(finding.reason for finding in evaluation.findings)
    assert words in reasons
    assert ("The unit was not judged." in reasons) == (verdict == "not_valid")


def test_held_voltage_and_time_of_a_known_profile():
    # 50 kV from 30 s to 95 s; the lower edge 48.5 kV is 1.5/2 = 0.75 s from the top at 2 kV/s up, 1.5/2.5 = 0.6 s down.
    evaluation = evaluate(STEP, [record([(0, 0), (5, 0), (30, 50), (95, 50), (115, 0)])])
    found = measured(evaluation)
    assert found["held_s"].value == pytest.approx(65 + 0.75 + 0.6, abs=2 * DT)
    assert found["held_voltage_kv"].value == pytest.approx(50.0, abs=0.05)
    (stage,) = evaluation.stages
    assert stage.start_s == pytest.approx(30 - 0.75, abs=DT)
    assert stage.end_s == pytest.approx(95 + 0.6, abs=DT)


def test_expanded_uncertainty_is_that_of_the_instruments():
    setup = parse_setup({"instruments": [{"name": "a", "relative_uncertainty_pct": 3, "quantity": "voltage"}]})
    finding = measured(evaluate(STEP, [record(ramp(50, 65))], setup))["held_voltage_kv"]
    assert finding.expanded_uncertainty == pytest.approx(0.03 * 50, rel=0.01)
    assert finding.coverage_factor == 2


def test_a_short_hold_ended_by_the_unit_is_not_held_against_the_test():
    evaluation = evaluate(STEP, [record(ramp(50, 70), collapse_at=60)])
    found = measured(evaluation)
    assert found["disruptive_discharges"].value == 1
    assert found["held_s"].value == pytest.approx(30, abs=1)
    assert "not_valid" not in {finding.verdict for finding in evaluation.findings}
    assert [(event.name, round(event.time_s, 1)) for event in evaluation.events] == [("disruptive_discharge", 59.8)]


def test_several_levels_in_order():
    step = {
        "kind": "power_frequency_withstand",
        "stages": [
            {"name": "low", "voltage_kv": 20, "hold_s": 30, "tolerance_pct": 2},
            {"name": "high", "voltage_kv": 50, "hold_s": 60, "tolerance_pct": 2},
        ],
    }
    both = [(0, 0), (5, 0), (10, 20), (41, 20), (50, 50), (112, 50), (130, 0)]
    assert evaluate(step, [record(both)]).verdict == "conforms"
    assert evaluate(step, [record([(0, 0), (5, 0), (50, 50), (112, 50), (130, 0)])]).verdict == "not_valid"
    assert evaluate(step, [record([(0, 0), (5, 0), (10, 20), (41, 20), (60, 0)])]).verdict == "not_valid"
