"""Corrections applied to readings before anything is judged: each number by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest

from records.evaluation.evaluating import evaluate
from records.evaluation.impulse.synthesis import synthesise_impulse, wave_with_crest
from records.evaluation.setups import BadSetup, parse_setup
from records.evaluation.synthesis import Hold, synthesise_wave
from records.readers.recording import Recording

WITHSTAND = {
    "kind": "power_frequency_withstand",
    "stages": [{"name": "withstand", "voltage_kv": 30, "hold_s": 60, "tolerance_pct": 3}],
}
RESISTANCE = {
    "kind": "winding_resistance",
    "criteria": [{"quantity": "resistance_ohm", "max": 10.2, "judges": "unit"}],
}
# Readings 20 and 40 kV with corrections +0.2 and +0.4 kV: one per cent in between, U = 0.1 and 0.2 kV (k = 2).
POINTS = [
    {"reading": 20, "correction": 0.2, "expanded_uncertainty": 0.1},
    {"reading": 40, "correction": 0.4, "expanded_uncertainty": 0.2},
]

RESOLUTION = 0.1 / math.sqrt(12)  # the trends below are written to 0.1 kV


def corrections(use="applied", points=POINTS, unit="kV", **said):
    return {"use": use, "unit": unit, "points": points, "certificate": "K-1", **said}


def setup(*given, quantity="voltage", **said):
    row = {"name": "HVD-1", "quantity": quantity, "relative_uncertainty_pct": 3, "coverage_factor": 2}
    return parse_setup({"instruments": [{**row, "corrections": list(given)}], **said})


def held_at(level):
    """Return a trend that stands at one level for 65 s, with steep slopes of 2 kV a sample; written to 0.1 kV."""
    slope = np.round(np.arange(level - 2, 0, -2.0)[::-1], 1)
    voltage = np.concatenate([np.zeros(50), [0.1], slope, np.full(651, level), slope[::-1], np.zeros(50)])
    return Recording(np.arange(len(voltage)) * 0.1, {"voltage_kv": voltage})


def held(evaluation):
    return next(row for row in evaluation.findings if row.quantity == "held_voltage_kv")


def test_a_reading_below_the_band_is_in_it_once_corrected():
    """29.0 kV lies below 29.1 kV; + 0.29 kV (one per cent) it is 29.29 kV. U: the greater neighbour's, 0.2 kV."""
    assert evaluate(WITHSTAND, [held_at(29.0)], setup()).verdict == "not_valid"
    made = evaluate(WITHSTAND, [held_at(29.0)], setup(corrections()))
    assert made.verdict == "conforms"
    finding = held(made)
    assert finding.value == pytest.approx(29.29, abs=1e-9)
    assert finding.expanded_uncertainty == pytest.approx(2 * math.hypot(0.1, RESOLUTION), rel=1e-6)
    assert finding.correction == "The reading was 29.00 kV, the correction +0.29 kV by certificate K-1."
    assert finding.correction in finding.reason
    assert made.as_dict()["findings"][1]["correction"] == finding.correction


def test_what_the_calibration_states_as_a_whole_is_replaced_and_not_added_to():
    """3 % of 29.29 kV would be 0.88 kV; the curve's 0.2 kV takes its place."""
    wide = evaluate(WITHSTAND, [held_at(29.9)], setup())
    narrow = evaluate(WITHSTAND, [held_at(29.9)], setup(corrections()))
    assert held(wide).expanded_uncertainty == pytest.approx(2 * math.hypot(29.9 * 0.015, RESOLUTION))
    assert held(narrow).expanded_uncertainty == pytest.approx(2 * math.hypot(0.1, RESOLUTION), rel=1e-6)


def test_a_correction_that_is_not_applied_can_only_widen():
    """At 30 kV: u = 1.5 % of 30 = 0.45 kV and c = 0.3 kV, together √(0.45² + 0.3²) = 0.5408 kV."""
    plain = evaluate(WITHSTAND, [held_at(30.0)], setup())
    made = evaluate(WITHSTAND, [held_at(30.0)], setup(corrections("not_applied")))
    assert held(made).value == held(plain).value == 30.0
    assert held(made).expanded_uncertainty == pytest.approx(2 * math.hypot(0.45, 0.3, RESOLUTION), rel=1e-6)
    assert held(made).expanded_uncertainty > held(plain).expanded_uncertainty
    assert "is not applied and counts as uncertainty (by certificate K-1)" in held(made).reason


@pytest.mark.parametrize("use", ["applied", "not_applied"])
def test_outside_the_calibrated_range_nothing_is_extrapolated(use):
    low = [{**POINTS[0], "reading": 5}, {**POINTS[1], "reading": 25}]
    made = evaluate(WITHSTAND, [held_at(30.0)], setup(corrections(use, low)))
    assert made.verdict == "inconclusive"
    assert held(made).value == 30.0
    words = "30 kV lies outside the calibrated range of HVD-1, 5 to 25 kV (by certificate K-1)"
    asked = {row.quantity: row for row in made.findings}
    assert words in asked["held_voltage_kv"].reason
    assert words in asked["held_s"].reason
    assert (asked["held_voltage_kv"].verdict, asked["held_s"].verdict) == ("inconclusive", "inconclusive")
    assert asked["disruptive_discharges"].reason.startswith("The record shows no disruptive discharge.")


def test_a_reading_just_beyond_the_range_is_not_taken_for_a_corrected_one():
    """The range ends at 29.9 kV, corrected 30.199 kV; 30.0 kV as read lies between the two."""
    ending = [POINTS[0], {**POINTS[1], "reading": 29.9, "correction": 0.299}]
    assert evaluate(WITHSTAND, [held_at(30.0)], setup(corrections(points=ending))).verdict == "inconclusive"
    assert evaluate(WITHSTAND, [held_at(29.9)], setup(corrections(points=ending))).verdict == "conforms"


def test_a_straight_line_with_its_covariance():
    """Points at 20, 30 and 40 kV with u = 0.1 kV: at 30 kV the line has 0.1/√3 kV, so the floor of a point holds."""
    points = [
        {"reading": x, "correction": 0.01 * x, "expanded_uncertainty": 0.2, "coverage_factor": 2} for x in (20, 30, 40)
    ]
    made = evaluate(WITHSTAND, [held_at(29.7)], setup(corrections(points=points, method="line")))
    assert held(made).value == pytest.approx(29.997)
    assert held(made).expanded_uncertainty == pytest.approx(2 * math.hypot(0.1, RESOLUTION), rel=1e-6)


def test_the_resolution_of_the_readings_is_not_lost_with_their_round_numbers():
    """10.1 and 10.2 Ω are written to 0.1 Ω; corrected they are 10.09505 and 10.1951 Ω and look finer than they are."""
    points = [{"reading": x, "correction": -0.005 + 0.0005 * (x - 10), "expanded_uncertainty": 0.02} for x in (10, 11)]
    plain = parse_setup({"instruments": [{"name": "R", "quantity": "resistance", "expanded_uncertainty": 0.02}]})
    given = setup(corrections(points=points, unit="Ω"), quantity="resistance")
    found = [
        next(row for row in evaluate(RESISTANCE, [ohms(10.1, 10.1, 10.1, 10.1, 10.2)], one).findings if row.value)
        for one in (plain, given)
    ]
    assert found[1].value == pytest.approx(10.12 - 0.005 + 0.00006)
    assert found[1].expanded_uncertainty == pytest.approx(found[0].expanded_uncertainty, rel=1e-3)


def test_points_in_volts_correct_a_record_in_kilovolts():
    volts = [{key: 1000 * value for key, value in row.items()} for row in POINTS]
    made = evaluate(WITHSTAND, [held_at(29.0)], setup(corrections(points=volts, unit="V")))
    assert held(made).value == pytest.approx(29.29)


def test_a_wave_is_corrected_by_the_factor_of_its_rms_value():
    """One per cent at every r.m.s. value from 20 to 40 kV: 29.7 kV become 29.997 kV, whatever the instantaneous one."""
    wave = synthesise_wave([Hold(29.7, 62, slope_kv_per_s=20)], seed=3)
    plain, made = (evaluate(WITHSTAND, [wave], held) for held in (setup(), setup(corrections())))
    # The first and the last period of the hold, still on the slope, may fall into the band or out of it.
    assert held(made).value == pytest.approx(1.01 * held(plain).value, rel=5e-5)


def test_an_impulse_is_corrected_by_the_factor_of_its_peak():
    step = {
        "kind": "lightning_impulse",
        "stages": [{"name": "full", "voltage_kv": 30, "tolerance_pct": 3, "polarity": "negative"}],
        "criteria": [{"quantity": "test_voltage_kv", "stage": "full", "min": 29.1, "max": 30.9, "judges": "test"}],
    }
    impulse = synthesise_impulse(wave_with_crest(-29.0), seed=2)
    plain, made = (evaluate(step, [impulse], held) for held in (setup(), setup(corrections())))
    before, after = (
        next(row.value for row in one.findings if row.quantity == "test_voltage_kv") for one in (plain, made)
    )
    assert after == pytest.approx(1.01 * before, rel=1e-4)


def ohms(*values):
    return Recording(np.zeros(0), {"resistance_ohm": np.array(values)})


def test_single_readings_are_corrected_each_and_told_together():
    """10.10 and 10.12 Ω with −0.05 Ω at 10 Ω and −0.10 Ω at 11 Ω: −0.055 and −0.056 Ω, mean 10.0545 Ω."""
    points = [
        {"reading": 10, "correction": -0.05, "expanded_uncertainty": 0.02},
        {"reading": 11, "correction": -0.10, "expanded_uncertainty": 0.02},
    ]
    given = setup(corrections(points=points, unit="Ω"), quantity="resistance")
    made = evaluate(RESISTANCE, [ohms(10.10, 10.12, 10.10, 10.12)], given)
    finding = next(row for row in made.findings if row.quantity == "resistance_ohm")
    assert finding.value == pytest.approx(10.0545)
    assert finding.correction == "Readings of the resistance were corrected by -0.056 to -0.055 Ω (by certificate K-1)."
    beyond = evaluate(RESISTANCE, [ohms(9.9, 10.12)], given)
    assert beyond.verdict == "inconclusive"
    assert "9.9 Ω lies outside the calibrated range of HVD-1, 10 to 11 Ω" in beyond.findings[-1].reason


def test_a_calibrated_charge_circuit_is_not_corrected_again():
    step = {
        "kind": "partial_discharge",
        "stages": [{"name": "measurement", "voltage_kv": 30, "hold_s": 60, "tolerance_pct": 3}],
        "criteria": [{"quantity": "apparent_charge_pc", "stage": "measurement", "max": 100}],
    }
    record = held_at(30.0)
    record = Recording(record.time_s, {**record.channels, "charge_pc": np.full(record.rows, 5.0)})
    points = [{"reading": x, "correction": x, "expanded_uncertainty": 0.1} for x in (1, 200)]  # reads half of it
    row = corrections(points=points, unit="pC")
    charge = setup(row, quantity="charge", background_noise_pc=1)
    calibrated = setup(
        row, quantity="charge", background_noise_pc=1, charge_calibration={"injected_pc": 100, "reading": 50}
    )
    for given in (charge, calibrated):
        made = evaluate(step, [record], given)
        found = next(one for one in made.findings if one.quantity == "apparent_charge_pc")
        assert found.value == pytest.approx(10.0)
    assert "its scale factor contains them" in made.remarks[0]


def test_two_that_would_correct_one_channel_correct_nothing():
    row = {"quantity": "voltage", "relative_uncertainty_pct": 1, "corrections": corrections()}
    given = parse_setup({"instruments": [{"name": name, **row} for name in ("A", "B")]})
    made = evaluate(WITHSTAND, [held_at(29.5)], given)
    assert made.verdict == "inconclusive"
    assert held(made).value == 29.5
    assert "A and B would both correct the voltage" in held(made).reason


def test_what_fits_no_column_is_told():
    made = evaluate(WITHSTAND, [held_at(30.0)], setup(corrections(unit="Ω")))
    assert made.remarks[0] == "The corrections of HVD-1 in Ω fit nothing that a record can hold."


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ({"use": "perhaps"}, "use: “perhaps” must be applied or not_applied"),
        ({"points": []}, "points: must be a list with at least one point"),
        ({"points": [{"reading": 1}]}, "points\\[0\\].correction: “None” is not a finite number"),
        ({"points": [POINTS[0], POINTS[0]]}, "Each reading may occur once"),
        ({"method": "cubic"}, "method: “cubic” must be interpolated or line"),
        ({"method": "line"}, "at least 3 points"),
        ({"channel": "colour"}, "channel: “colour” cannot be corrected"),
        ({"slope": 1}, "slope: is not known"),
        ({"unit": None}, "unit: is missing"),
    ],
)
def test_corrections_that_cannot_be_are_refused_by_name(row, words):
    with pytest.raises(BadSetup, match=rf"instruments\[0\]\.corrections: .*{words}"):
        setup({**corrections(), **row})


def test_corrections_need_to_know_what_the_instrument_measures():
    with pytest.raises(BadSetup, match="quantity: is missing; corrections need to know"):
        setup(corrections(), quantity=None)
