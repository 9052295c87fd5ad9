"""Discharge records built sample by sample (see SOURCE.md): every quantity is known before it is measured."""

from __future__ import annotations

import math

import numpy as np
import pytest

from records.evaluation.discharge_basis import scale_factor_of
from records.evaluation.evaluating import evaluate
from records.evaluation.setups import parse_setup
from records.evaluation.step import parse_step
from records.readers.recording import Recording

DT = 0.5
SLOPE = 0.5  # kV/s, so that one sample is 0.25 kV
UP_S, PRESTRESS_S, MEASURE_S = 10.0, 61.0, 121.0
PRESTRESS, MEASURE = 25.0, 10.75
TOP_S = UP_S + PRESTRESS / SLOPE  # 60 s
DOWN_S = TOP_S + PRESTRESS_S  # 121 s
LOW_S = DOWN_S + (PRESTRESS - MEASURE) / SLOPE  # 149.5 s
END_S = LOW_S + MEASURE_S  # 270.5 s
OFF_S = END_S + MEASURE / SLOPE  # 292 s

CRITERIA = [
    {"quantity": "apparent_charge_pc", "stage": "measurement", "max": 100, "judges": "unit"},
    {"quantity": "extinction_voltage_kv", "min": 10.75, "judges": "unit"},
    {"quantity": "inception_voltage_kv", "min": 15, "judges": "unit"},
    {"quantity": "time_to_extinction_s", "stage": "measurement", "max": 120, "judges": "unit"},
]


def step(criteria=None, **procedure):
    stages = [
        {"name": "prestress", "voltage_kv": PRESTRESS, "hold_s": 60, "tolerance_pct": 1},
        {"name": "measurement", "voltage_kv": MEASURE, "hold_s": 120, "tolerance_pct": 1},
    ]
    merged = {"stages": stages, "threshold_pc": 10, "criteria": criteria or CRITERIA, **procedure}
    return {"kind": "partial_discharge", "procedure": merged}


def times():
    return np.arange(round(OFF_S / DT) + 1) * DT


def voltage():
    corners = [
        (0, 0),
        (UP_S, 0),
        (TOP_S, PRESTRESS),
        (DOWN_S, PRESTRESS),
        (LOW_S, MEASURE),
        (END_S, MEASURE),
        (OFF_S, 0),
    ]
    return np.interp(times(), *np.transpose(np.array(corners)))


def record(burning, charge=250.0, noise=2.0):
    return Recording(times(), {"voltage_kv": voltage(), "charge_pc": np.where(burning, charge, noise)})


def measured(evaluation):
    return {(finding.quantity, finding.stage): finding for finding in evaluation.findings}


def between(begin_s, end_s):
    return (times() >= begin_s) & (times() < end_s)


def test_levels_of_the_practice():
    assert round(0.5 * 50, 2) == PRESTRESS
    assert round(1.2 * 15.5 / math.sqrt(3), 2) == 10.74  # the floor sets 10.75


def test_every_quantity_of_a_unit_that_extinguishes_on_the_way_down():
    # It ignites at 18 kV, 18/0.5 = 36 s after the ramp begins at 10 s; it goes out at 14 kV, 22 s after 121 s.
    evaluation = evaluate(step(), [record(between(46.0, 143.0))])
    found = measured(evaluation)
    assert evaluation.verdict == "conforms"
    assert found["inception_voltage_kv", None].value == pytest.approx(18.0)
    assert found["extinction_voltage_kv", None].value == pytest.approx(14.0)
    assert found["time_to_extinction_s", "measurement"].value == 0.0
    assert found["apparent_charge_pc", "measurement"].value == 2.0
    assert found["background_noise_pc", None].value == 2.0
    assert [(event.name, event.time_s) for event in evaluation.events] == [("inception", 46.0), ("extinction", 143.0)]
    # The band of ± 1 % is entered 0.25 kV early: half a second before and after the hold itself.
    assert found["held_s", "prestress"].value == pytest.approx(PRESTRESS_S + 2 * 0.25 / SLOPE, abs=DT)
    assert found["held_s", "measurement"].value == pytest.approx(MEASURE_S, abs=2 * DT)
    assert found["held_voltage_kv", "prestress"].value == pytest.approx(PRESTRESS, abs=0.01)
    assert found["held_voltage_kv", "measurement"].value == pytest.approx(MEASURE, abs=0.01)
    assert [stage.name for stage in evaluation.stages] == ["prestress", "measurement"]


@pytest.mark.parametrize("seconds", [10.0, 60.0, 110.0, 119.0])
def test_time_to_extinction_within_the_hold(seconds):
    evaluation = evaluate(step(CRITERIA[:1] + CRITERIA[3:]), [record(between(46.0, LOW_S + seconds))])
    found = measured(evaluation)
    assert found["time_to_extinction_s", "measurement"].value == pytest.approx(seconds, abs=DT)
    within_window = seconds > 110.0  # charge is read over the last ten of 120 seconds
    assert found["apparent_charge_pc", "measurement"].value == (250.0 if within_window else 2.0)
    assert evaluation.verdict == ("does_not_conform" if within_window else "conforms")


def test_a_unit_that_does_not_extinguish():
    evaluation = evaluate(step(), [record(between(46.0, END_S))])
    found = measured(evaluation)
    assert evaluation.verdict == "does_not_conform"
    assert found["apparent_charge_pc", "measurement"].value == 250.0
    assert found["time_to_extinction_s", "measurement"].verdict == "does_not_conform"
    assert found["extinction_voltage_kv", None].verdict == "does_not_conform"
    assert found["held_s", "measurement"].verdict == "conforms"


def test_a_unit_without_any_discharge():
    evaluation = evaluate(step(), [record(between(0.0, 0.0))])
    assert evaluation.verdict == "conforms"
    assert evaluation.events == ()
    assert measured(evaluation)["inception_voltage_kv", None].value is None


def test_two_samples_are_no_inception_and_three_are():
    two = record(between(46.0, 47.0))
    three = record(between(46.0, 47.5))
    assert measured(evaluate(step(), [two]))["inception_voltage_kv", None].value is None
    assert measured(evaluate(step(), [three]))["inception_voltage_kv", None].value == pytest.approx(18.0)


def test_the_threshold_is_twice_the_noise_where_that_is_greater():
    # Noise 8 pC: threshold 16 pC, so 15 pC is no inception, though the procedure names 10 pC.
    quiet = evaluate(step(), [record(between(46.0, 143.0), charge=15.0)], parse_setup({"background_noise_pc": 8}))
    loud = evaluate(step(), [record(between(46.0, 143.0), charge=17.0)], parse_setup({"background_noise_pc": 8}))
    assert measured(quiet)["inception_voltage_kv", None].value is None
    assert measured(loud)["inception_voltage_kv", None].value == pytest.approx(18.0)


@pytest.mark.parametrize(("noise", "verdict"), [(50.0, "conforms"), (50.1, "not_valid")])
def test_noise_at_most_half_the_limit(noise, verdict):
    setup = parse_setup({"background_noise_pc": noise})
    assert evaluate(step(CRITERIA[:1]), [record(between(0, 0))], setup).verdict == verdict


def test_noise_over_half_the_limit_is_not_valid_even_where_the_charge_is_over_the_limit():
    evaluation = evaluate(step(), [record(between(46.0, END_S))], parse_setup({"background_noise_pc": 60}))
    assert evaluation.verdict == "not_valid"
    assert measured(evaluation)["apparent_charge_pc", "measurement"].verdict == "not_valid"


def test_the_noise_of_the_record_is_its_95th_percentile_before_a_tenth_of_the_first_set_point():
    made = record(between(0, 0))
    before = voltage() < 2.5
    quiet = int(np.argmin(before))  # 15 s: 30 samples
    assert quiet == 30
    charge = made.channels["charge_pc"].copy()
    charge[:quiet] = np.arange(quiet)
    evaluation = evaluate(step(), [Recording(times(), {**made.channels, "charge_pc": charge})])
    assert measured(evaluation)["background_noise_pc", None].value == pytest.approx(0.95 * 29)  # linear between ranks


def test_no_noise_anywhere_is_inconclusive_and_says_so():
    made = record(between(46.0, END_S))
    late = int(np.argmax(times() >= 20.0))
    cut = Recording(times()[late:], {name: values[late:] for name, values in made.channels.items()})
    evaluation = evaluate(step(), [cut])
    assert evaluation.verdict == "inconclusive"
    assert "the noise is not known" in measured(evaluation)["background_noise_pc", None].reason
    assert evaluate(step(), [cut], parse_setup({"background_noise_pc": 4})).verdict == "does_not_conform"


def test_the_scale_factor_multiplies_the_record():
    # 60 pC on the screen; 100 pC read 50: k = 2, so 120 pC.
    setup = parse_setup({"background_noise_pc": 4, "charge_calibration": {"injected_pc": 100, "reading": 50}})
    evaluation = evaluate(step(CRITERIA[:1]), [record(between(46.0, END_S), charge=60.0)], setup)
    assert measured(evaluation)["apparent_charge_pc", "measurement"].value == pytest.approx(120.0)
    assert measured(evaluation)["charge_scale_factor", None].value == pytest.approx(2.0)
    assert measured(evaluation)["background_noise_pc", None].value == 4.0
    assert evaluation.verdict == "does_not_conform"


@pytest.mark.parametrize(
    ("injected", "verdict"), [(49, "not_valid"), (50, "conforms"), (200, "conforms"), (201, "not_valid")]
)
def test_injected_charge_between_50_and_200_percent_of_the_limit(injected, verdict):
    setup = parse_setup({"charge_calibration": {"injected_pc": injected, "reading": injected}})
    assert evaluate(step(CRITERIA[:1]), [record(between(0, 0))], setup).verdict == verdict


@pytest.mark.parametrize(
    ("check", "injected", "verdict"),
    [
        ({"min": 20, "max": 40}, 30, "conforms"),
        ({"min": 20, "max": 40}, 100, "not_valid"),
        ({"min": 20}, 500, "conforms"),
        ({"min": 20}, 19, "not_valid"),
    ],
)
def test_the_plan_says_between_which_charges_a_circuit_is_calibrated(check, injected, verdict):
    setup = parse_setup({"charge_calibration": {"injected_pc": injected, "reading": injected}})
    found = scale_factor({"quantity": "injected_charge_pc", "judges": "test", **check}, setup)
    assert (found.settled or "conforms") == verdict
    assert ("must lie" in found.words) == (verdict == "not_valid")


def scale_factor(check, setup):
    step = {
        "kind": "partial_discharge",
        "stages": [{"name": "measurement", "voltage_kv": 10, "hold_s": 10}],
        "criteria": [{"quantity": "apparent_charge_pc", "max": 100}],
        "setup_checks": [check],
    }
    return scale_factor_of(parse_step(step), setup)


@pytest.mark.parametrize(
    ("charge", "verdict"),
    [(90.0, "conforms"), (96.0, "inconclusive"), (104.0, "inconclusive"), (110.0, "does_not_conform")],
)
def test_guard_band_of_one_expanded_uncertainty(charge, verdict):
    # 6 % at k = 2 of 96 pC is 5.8 pC: 96 + 5.8 > 100, and 104 - 6.2 < 100.
    setup = parse_setup({"instruments": [{"name": "d", "relative_uncertainty_pct": 6, "coverage_factor": 2}]})
    criteria = [{**CRITERIA[0], "decision": "guard_band"}]
    assert evaluate(step(criteria), [record(between(46.0, END_S), charge=charge)], setup).verdict == verdict


def test_the_window_that_the_procedure_names():
    burning = between(46.0, LOW_S + 100.0)  # out 20 s before the end of the required hold
    assert measured(evaluate(step(CRITERIA[:1]), [record(burning)]))["apparent_charge_pc", "measurement"].value == 2.0
    wide = evaluate(step(CRITERIA[:1], window_s=30), [record(burning)])
    assert measured(wide)["apparent_charge_pc", "measurement"].value == 250.0


def test_the_record_shows_that_the_hold_was_cut_off():
    made = record(between(46.0, 143.0))
    kept = times() < LOW_S + 80
    cut = Recording(times()[kept], {name: values[kept] for name, values in made.channels.items()})
    evaluation = evaluate(step(), [cut])
    assert evaluation.verdict == "not_valid"
    assert "The record ends during the hold." in measured(evaluation)["held_s", "measurement"].reason


def test_a_flashover_in_the_prestress_is_the_units_failure_even_with_loud_noise():
    made = record(between(46.0, 143.0))
    volts = made.channels["voltage_kv"].copy()
    volts[times() >= 90] = 0.05
    evaluation = evaluate(
        step(), [Recording(times(), {**made.channels, "voltage_kv": volts})], parse_setup({"background_noise_pc": 90})
    )
    assert evaluation.verdict == "does_not_conform"
    assert "not_valid" not in {finding.verdict for finding in evaluation.findings}


def test_reignition_is_told_with_its_time_and_voltage():
    evaluation = evaluate(step(), [record(between(46.0, 143.0) | between(200.0, 205.0))])
    (event,) = [event for event in evaluation.events if event.name == "reignition"]
    assert (event.time_s, event.voltage_kv) == (200.0, MEASURE)
    assert any("began again once after at least 1 s" in remark for remark in evaluation.remarks)
    assert measured(evaluation)["extinction_voltage_kv", None].value == MEASURE  # 205 s: in the measuring hold


@pytest.mark.parametrize(
    ("begin_s", "end_s", "times"),
    [(200.0, 201.0, 0), (144.0, 150.0, 0), (145.0, 150.0, 1), (46.0, 143.0, 0)],
    ids=["two samples", "1.5 s of silence, three intervals", "2.5 s of silence", "the same discharge"],
)
def test_what_counts_as_a_reignition(begin_s, end_s, times):
    evaluation = evaluate(step(), [record(between(46.0, 143.0) | between(begin_s, end_s))])
    assert [event.name for event in evaluation.events].count("reignition") == times


def test_noise_after_the_test_is_told_and_warned_of_above_half_the_limit():
    quiet = record(between(46.0, 143.0), noise=3.0)
    assert measured(evaluate(step(), [quiet]))["noise_after_pc", None].value == 3.0
    charge = quiet.channels["charge_pc"].copy()
    charge[(times() > END_S) & (voltage() < 2.5)] = 70.0
    loud = evaluate(step(), [Recording(times(), {**quiet.channels, "charge_pc": charge})])
    assert measured(loud)["noise_after_pc", None].value == 70.0
    assert any("more than half the limit of 100 pC" in remark for remark in loud.remarks)
    assert loud.verdict == "conforms"
