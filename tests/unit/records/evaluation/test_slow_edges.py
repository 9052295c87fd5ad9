"""Odd records of slow tests: a reasoned not_valid or inconclusive, never an exception, never a pass."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from records.evaluation.cooling import CoolingNotTold, compare_models, fit_cooling
from records.evaluation.evaluating import evaluate
from records.evaluation.measured import relative_standard_uncertainty
from records.evaluation.setups import BadSetup, parse_setup
from records.evaluation.slow_synthesis import (
    Disturbance,
    Winding,
    synthesise_absorption,
    synthesise_cooling,
    synthesise_table,
)
from records.evaluation.step import BadStep, parse_step
from records.readers.recording import Recording

RISE = {
    "kind": "temperature_rise",
    "material": "copper",
    "cold_resistance_ohm": 0.421,
    "cold_temperature_c": 22.5,
    "ambient_c": 25,
    "shutdown_s": 0,
    "criteria": [{"quantity": "temperature_rise_k", "max": 80}],
}
INSULATION = {"kind": "insulation_resistance", "criteria": [{"quantity": "insulation_resistance_mohm", "min": 100}]}
TABLES = {
    "winding_resistance": ("resistance_ohm", {"resistance_ohm": 0.421}),
    "dissipation_factor": ("dissipation_factor", {"dissipation_factor": 1e-4, "capacitance_uf": 10.0}),
    "capacitance": ("capacitance_uf", {"capacitance_uf": 10.0}),
    "inductance": ("inductance_mh", {"inductance_mh": 5.0, "loss_w": 250.0, "current_a": 50.0}),
}
CURVES = {
    "temperature_rise": (RISE, "resistance_ohm", synthesise_cooling(Winding(), Disturbance(noise=2e-5))),
    "insulation_resistance": (
        INSULATION,
        "insulation_resistance_mohm",
        synthesise_absorption(1500, 2.5, Disturbance(noise=0.005)),
    ),
}
each_curve = pytest.mark.parametrize("kind", CURVES)
each_table = pytest.mark.parametrize("kind", TABLES)


def judged(step, recordings):
    """Return the verdict and the first reason, all findings having one."""
    result = evaluate(step, recordings)
    assert result.findings
    assert all(finding.reason for finding in result.findings)
    return result.verdict, result.findings[0].reason


def step_of(kind):
    channel, _ = TABLES[kind]
    return {"kind": kind, "criteria": [{"quantity": channel, "min": 1e-9, "max": 1e9}]}


def changed(recording, channel, values):
    return replace(recording, channels={**recording.channels, channel: values})


@each_curve
def test_a_good_curve_conforms(kind):
    step, _, recording = CURVES[kind]
    assert judged(step, [recording])[0] == "conforms"


@each_curve
@pytest.mark.parametrize(
    ("name", "spoil", "words"),
    [
        ("empty", lambda t, v: (t[:0], v[:0]), "0 samples"),
        ("one sample", lambda t, v: (t[:1], v[:1]), "1 sample"),
        ("NaN", lambda t, v: (t, np.where(np.arange(len(v)) == 7, np.nan, v)), "Sample 8 of"),
        ("infinite", lambda t, v: (t, np.where(np.arange(len(v)) == 7, np.inf, v)), "Sample 8 of"),
        ("reversed", lambda t, v: (t[::-1], v[::-1]), "goes backwards"),
        ("one time", lambda t, v: (np.full_like(t, 5.0), v), "same time"),
        ("a time twice", lambda t, v: (np.where(np.arange(len(t)) == 7, t[6], t), v), "Sample 8 carries the same time"),
        ("constant", lambda t, v: (t, np.full_like(v, v[0])), r"does not change|end of its range"),
        ("negative", lambda t, v: (t, -v), "not above 0"),
        ("not one length", lambda t, v: (t, v[:-1]), "not of one length"),
    ],
)
def test_an_odd_curve_is_not_valid_with_its_reason(kind, name, spoil, words):
    step, channel, recording = CURVES[kind]
    time_s, values = spoil(recording.time_s, recording.channels[channel])
    verdict, reason = judged(step, [Recording(time_s, {channel: values})])
    assert verdict == "not_valid"
    assert re.search(words, reason), reason


def test_clipped_curves_are_told():
    cooling = synthesise_cooling(Winding(), Disturbance(noise=2e-5, step=1e-5))
    clipped = changed(cooling, "resistance_ohm", np.minimum(cooling.channels["resistance_ohm"], 0.52))
    assert judged(RISE, [clipped]) == (
        "not_valid",
        "The record begins with a row of equal readings of 0.52 Ω and then falls steeply: the instrument's range ended "
        "there. Measure again in a higher range. The unit was not judged.",
    )
    rising = synthesise_absorption(1500, 2.5, Disturbance(step=1.0))
    clipped = changed(
        rising, "insulation_resistance_mohm", np.minimum(rising.channels["insulation_resistance_mohm"], 2000.0)
    )
    verdict, reason = judged(INSULATION, [clipped])
    assert verdict == "not_valid"
    assert "stands at 2000 MΩ for its last" in reason


def test_a_settled_reading_is_not_taken_for_a_clipped_one():
    # a resistance that settles to its last digit: exact, with a tenth as step, and flat from some time on
    time_s = np.arange(5.0, 661.0, 5.0)
    exact = 1500.0 / (1 + np.exp(-time_s / 60))
    settled = Recording(time_s, {"insulation_resistance_mohm": np.round(exact)})
    assert np.ptp(settled.channels["insulation_resistance_mohm"][-20:]) == 0
    assert judged(INSULATION, [settled])[0] == "conforms"


@each_table
def test_a_good_table_conforms(kind):
    _, exact = TABLES[kind]
    assert judged(step_of(kind), [synthesise_table(exact)])[0] == "conforms"


@each_table
@pytest.mark.parametrize(
    ("name", "spoil"),
    [
        ("empty", lambda v: v[:0]),
        ("one sample", lambda v: v[:1]),
        ("NaN", lambda v: np.where(np.arange(len(v)) == 1, np.nan, v)),
        ("infinite", lambda v: np.where(np.arange(len(v)) == 1, np.inf, v)),
        ("zero", lambda v: np.zeros_like(v)),
        ("negative", lambda v: -v),
    ],
)
def test_an_odd_table_is_not_valid_with_its_reason(kind, name, spoil):
    _, exact = TABLES[kind]
    recording = synthesise_table(exact)
    spoiled = {one: spoil(values) for one, values in recording.channels.items()}
    verdict, reason = judged(step_of(kind), [Recording(np.empty(0), spoiled)])
    assert verdict == "not_valid"
    assert reason.endswith("The unit was not judged.")


def test_what_is_lacking_is_named_and_undecided():
    cooling = synthesise_cooling(Winding())
    for key, words in (
        ("shutdown_s", "Nothing states the time of shutdown"),
        ("material", "The material of the winding is not stated"),
        ("cold_resistance_ohm", "The cold resistance is not stated"),
        ("ambient_c", "The temperature of the surroundings is not stated"),
    ):
        result = evaluate({name: value for name, value in RISE.items() if name != key}, [cooling])
        reason = next(f.reason for f in result.findings if f.quantity == "temperature_rise_k")
        assert (result.verdict, words in reason) == ("inconclusive", True), reason
    table = synthesise_table({"resistance_ohm": 0.421})
    criteria = [{"quantity": "resistance_at_reference_ohm", "max": 1}]
    step = {"kind": "winding_resistance", "criteria": criteria}
    assert "no material" in evaluate(step, [table]).findings[-1].reason
    step |= {"material": "copper", "reference_temperature_c": 75}
    assert judged(step, [table])[0] == "inconclusive"
    assert "tells the temperature" in evaluate(step, [table]).findings[-1].reason


def test_a_record_too_short_for_its_time_constant_says_so():
    with pytest.raises(CoolingNotTold, match=r"longer than the 120 s that were recorded"):
        fit_cooling(*_curve(Winding(time_constant_s=2000), last_s=120))
    with pytest.raises(CoolingNotTold, match="5 readings after shutdown; at least 6"):
        compare_models(np.arange(1.0, 6.0), np.arange(5.0, 0.0, -1.0))
    rising = _curve(Winding(fall_ohm=-0.1, drift_ohm_per_s=0.0), last_s=1500)
    with pytest.raises(CoolingNotTold, match="rises after shutdown"):
        fit_cooling(*rising)


def _curve(winding, last_s):
    recording = synthesise_cooling(winding, last_s=last_s, interval_s=5)
    return recording.time_s, recording.channels["resistance_ohm"]


def test_readings_before_shutdown_and_while_settling_are_left_out():
    cooling = synthesise_cooling(Winding(), shutdown_s=100.0)
    before = np.arange(0.0, 100.0, 10.0)
    time_s = np.concatenate([before, cooling.time_s])
    values = np.concatenate([np.full(len(before), 0.9), cooling.channels["resistance_ohm"]])
    values[len(before)] = 0.6  # the first reading after shutdown, still settling
    recording = Recording(time_s, {"resistance_ohm": values})
    result = evaluate(RISE | {"shutdown_s": 100.0, "settling_s": 25.0}, [recording])
    assert result.findings[0].value == pytest.approx(Winding().hot_ohm, abs=1e-9)


def test_the_ambient_is_read_at_shutdown_else_stated_by_set_up_else_by_step():
    def rise(recording, setup=None):
        found = evaluate(RISE, [recording], parse_setup(setup)).findings
        return next(finding.value for finding in found if finding.quantity == "temperature_rise_k")

    cooling = synthesise_cooling(Winding())
    assert rise(cooling, {"ambient_c": 27.0}) == pytest.approx(rise(cooling) - 2.0)
    falling = changed(cooling, "ambient_c", 30.0 - cooling.time_s / 1000)  # 30 °C at shutdown
    assert rise(falling, {"ambient_c": 27.0}) == pytest.approx(rise(cooling) - 5.0)


def test_times_that_count_from_the_shutdown_tell_the_rise_and_are_not_judged():
    """The same curve with the instant stated gives the same rise, and a verdict."""
    silent = {name: value for name, value in RISE.items() if name != "shutdown_s"}
    cooling = synthesise_cooling(Winding(), Disturbance(noise=2e-5))
    assert cooling.time_s[0] > 0
    told, stated = (evaluate(step, [cooling]).findings[-1] for step in (silent, RISE))
    assert (told.value, told.verdict, stated.verdict) == (stated.value, "inconclusive", "conforms")
    assert "the zero of the record's time was taken for it. State it to have the rise judged." in told.reason


def test_a_line_before_the_heads_may_state_shutdown_and_ambient():
    bare = {name: value for name, value in RISE.items() if name not in ("shutdown_s", "ambient_c")}
    cooling = synthesise_cooling(Winding(), shutdown_s=100.0)

    def rise(metadata, setup=None):
        found = evaluate(bare, [replace(cooling, metadata=metadata)], parse_setup(setup)).findings
        return next(finding.value for finding in found if finding.quantity == "temperature_rise_k")

    by_hand = 0.548 / 0.421 * 257.5 - 260
    assert rise({"Shutdown_s": "100", "ambient_c": "25"}) == pytest.approx(by_hand, abs=1e-6)
    # what a person notes of the instant goes before the file; the file's own ambient goes before the bay's
    assert rise({"shutdown_s": "90", "ambient_c": "25"}, {"shutdown_s": 100, "ambient_c": 20}) == pytest.approx(
        by_hand, abs=1e-6
    )
    for text in ("soon", "nan", ""):
        assert rise({"shutdown_s": text, "ambient_c": "25"}) is None


def test_a_ten_minute_value_asked_of_a_short_record_is_not_valid():
    short = synthesise_absorption(1500, 2.5, last_s=120)
    assert judged(INSULATION, [short])[0] == "conforms"
    step = {"kind": "insulation_resistance", "criteria": [{"quantity": "polarization_index", "min": 2}]}
    verdict, _ = judged(step, [short])
    assert verdict == "not_valid"
    reason = evaluate(step, [short]).findings[-1].reason
    assert reason.startswith("The record runs from 5 to 120 s; the value at 600 s is not in it.")


def test_voltage_and_time_of_the_stage_are_asked_of_the_test():
    step = INSULATION | {"stages": [{"name": "direct", "voltage_kv": 5, "hold_s": 600}]}
    long, setup = synthesise_absorption(1500, 2.5), {"test_voltage_kv": 5.0}
    assert evaluate(step, [long], parse_setup(setup)).verdict == "conforms"
    assert evaluate(step, [long], parse_setup({"test_voltage_kv": 2.5})).verdict == "not_valid"
    result = evaluate(step, [synthesise_absorption(1500, 2.5, last_s=120)], parse_setup(setup))
    held = next(finding for finding in result.findings if finding.quantity == "held_s")
    assert (result.verdict, held.judges, held.value) == ("not_valid", "test", 120.0)


def test_a_failing_unit_does_not_conform():
    hot = RISE | {"criteria": [{"quantity": "temperature_rise_k", "max": 60}]}
    assert judged(hot, [CURVES["temperature_rise"][2]])[0] == "does_not_conform"
    low = {"kind": "insulation_resistance", "criteria": [{"quantity": "insulation_resistance_mohm", "min": 5000}]}
    assert judged(low, [CURVES["insulation_resistance"][2]])[0] == "does_not_conform"


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ({"kind": "winding_resistance", "material": "gold"}, "material: “gold” must be one of copper"),
        ({"kind": "winding_resistance", "temperature_constant_c": -5}, "must be above 200"),
        ({"kind": "capacitance", "series_elements": 1}, "series_elements: 1 must be at least 2"),
        ({"kind": "temperature_rise", "hot_spot_factor": 0.5}, "hot_spot_factor: 0.5 must be at least 1"),
        ({"kind": "inductance", "phases": 1.5}, "phases: 1.5 must be a whole number"),
    ],
)
def test_steps_that_cannot_be_are_refused(content, words):
    with pytest.raises(BadStep, match=words):
        parse_step(content)


def test_readings_that_drift_are_told_and_scattered_ones_are_not():
    step = {"kind": "winding_resistance"}
    settling = 0.421 + 0.01 * np.exp(-np.arange(10.0) / 3)
    remarks = evaluate(step, [Recording(np.empty(0), {"resistance_ohm": settling})]).remarks
    (told,) = [one for one in remarks if "drift" in one]
    assert told.startswith("The readings drift by -2")  # the exact curve falls by 0.01 (1 − e^−3)/0.424 = 2.2 %
    for seed in range(50):
        how = {"resistance_ohm": Disturbance(noise=1e-3, seed=seed)}
        table = synthesise_table({"resistance_ohm": 0.421}, how, rows=10)
        assert not any("drift" in one for one in evaluate(step, [table]).remarks)


def test_a_fixed_part_alone_does_not_make_a_relative_uncertainty_of_nothing():
    row = {"name": "divider", "quantity": "voltage", "expanded_uncertainty": 0.1}
    assert relative_standard_uncertainty(parse_setup({"instruments": [row]}), "voltage") is None
    both = parse_setup({"instruments": [row | {"relative_uncertainty_pct": 2.0}]})
    assert relative_standard_uncertainty(both, "voltage") == pytest.approx(0.01)


def test_conditions_and_fixed_parts_of_the_set_up_are_parsed_strictly():
    setup = parse_setup(
        {"ambient_c": 25, "instruments": [{"name": "t", "quantity": "temperature", "expanded_uncertainty": 0.5}]}
    )
    assert (dict(setup.conditions), setup.instruments[0].expanded_uncertainty) == ({"ambient_c": 25.0}, 0.5)
    for content, words in (
        ({"ambient_c": "warm"}, "ambient_c: “warm” is not a finite number"),
        ({"leakage_mohm": 0}, "leakage_mohm: 0 must be above 0"),
        ({"instruments": [{"name": "t", "quantity": "temperature"}]}, "relative_uncertainty_pct"),
        ({"instruments": [{"name": "t", "expanded_uncertainty": -1}]}, "must be at least 0"),
    ):
        with pytest.raises(BadSetup, match=words):
            parse_setup(content)
