"""Sequences of impulses against their step: verdicts, reasons, and whose fault a fault is."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from records.evaluation.evaluating import evaluate
from records.evaluation.impulse.synthesis import Disturbance, Oscillation, synthesise_impulse, wave_with_crest
from records.evaluation.setups import Instrument, Setup
from records.readers.recording import Recording
from schedules.rules import derive_plan

SETUP = Setup(instruments=(Instrument("divider", 2.0, 2.0, "voltage"), Instrument("recorder", 5.0, 2.0, "time")))
FULL = {"name": "full", "voltage_kv": 125, "tolerance_pct": 3, "polarity": "negative"}
REDUCED = {"name": "reduced", "wave": "reduced", "voltage_kv": 75, "tolerance_pct": 10, "polarity": "negative"}
CHOPPED = {"name": "chopped", "wave": "chopped", "voltage_kv": 137, "polarity": "negative"}
SHAPE = [
    {"quantity": "front_time_us", "min": 0.84, "max": 1.56, "judges": "test"},
    {"quantity": "time_to_half_value_us", "min": 40, "max": 60, "judges": "test"},
    {"quantity": "relative_overshoot_pct", "max": 10, "judges": "test"},
]
STEP = {"kind": "lightning_impulse", "stages": [FULL], "criteria": SHAPE}
USUAL = Disturbance(noise=0.003, bits=12, offset_kv=1.0)


def impulse(crest_kv=-125.0, seed=1, **options):
    return synthesise_impulse(wave_with_crest(crest_kv), seed=seed, disturbance=USUAL, **options)


def found(evaluation, quantity, stage=None):
    rows = [row for row in evaluation.findings if row.quantity == quantity and stage in (None, row.stage)]
    assert len(rows) == 1, [row.quantity for row in evaluation.findings]
    return rows[0]


def test_one_good_impulse_conforms_and_states_what_is_known():
    evaluation = evaluate(STEP, [impulse()], SETUP)
    assert evaluation.verdict == "conforms"
    voltage = found(evaluation, "test_voltage_kv")
    assert voltage.value == pytest.approx(125, rel=2e-3)
    assert voltage.expanded_uncertainty == pytest.approx(2.5, rel=0.01)  # 2 % of 125 kV; noise adds next to nothing
    front = found(evaluation, "front_time_us")
    assert front.value == pytest.approx(1.2, rel=0.01)
    assert front.expanded_uncertainty == pytest.approx(0.06, rel=0.02)  # 5 % of 1.2 µs
    assert found(evaluation, "disruptive_discharges").value == 0
    json.dumps(evaluation.as_dict(), allow_nan=False)


def test_a_planned_sequence_is_judged():
    """The plan is derived from ratings: three impulses of each polarity at 125 kV."""
    ratings = {
        "equipment": "metal_enclosed_switchgear",
        "highest_voltage_kv": 27,
        "standards": ["IEEE C37.20.3"],
        "tests": ["routine", "type"],
    }
    planned = next(one for one in derive_plan(ratings).as_dict()["steps"] if one["kind"] == "lightning_impulse")
    crests = (125.0, 124.0, 126.0, -125.0, -124.5, -125.5)
    records = [impulse(crest, seed, interval_us=0.02) for seed, crest in enumerate(crests)]
    assert evaluate(planned, records, SETUP).verdict == "conforms"
    short = evaluate(planned, records[:5], SETUP)
    assert short.verdict == "not_valid"
    assert "2 impulses count for the stage “full_negative”" in found(short, "impulses", "full_negative").reason


def planned_impulse(standard, equipment="metal_enclosed_switchgear", **more):
    ratings = {"equipment": equipment, "highest_voltage_kv": 24, "lightning_impulse_kv": 125, "tests": ["type"]}
    ratings |= {"temperature_rise_limit_k": 80}
    (step,) = [
        one
        for one in derive_plan(ratings | {"standards": [standard]} | more).as_dict()["steps"]
        if one["kind"] == "lightning_impulse"
    ]
    return step


def of_both_polarities(number, discharged):
    """Give so many impulses of each polarity; those whose places are named collapse."""
    return [
        impulse(sign * 125, seed=place, **({"chopped_after_us": 3.0} if place in discharged.get(sign, ()) else {}))
        for sign in (1, -1)
        for place in range(1, number[sign] + 1)
    ]


@pytest.mark.parametrize(
    ("positive", "negative", "discharged", "verdict", "words"),
    [
        (3, 3, {}, "conforms", "0 disruptive discharges in 3 impulses; at most 0 in 3 allowed."),
        (3, 3, {1: [2]}, "inconclusive", "9 further impulses needed before the sequence is judged."),
        (12, 3, {1: [2]}, "conforms", "1 disruptive discharge in 12 impulses; at most 1 in 12 allowed."),
        (12, 12, {1: [2], -1: [3]}, "conforms", "1 disruptive discharge in 12 impulses; at most 1 in 12 allowed."),
        (
            12,
            3,
            {1: [2, 9]},
            "does_not_conform",
            "2 disruptive discharges in 12 impulses; at most 1 in 12 are allowed.",
        ),
    ],
)
def test_three_and_nine_more_as_the_plan_states_it(positive, negative, discharged, verdict, words):
    """From memory of IEEE C37.20.3: three impulses; after exactly one discharge nine more without any."""
    step = planned_impulse("IEEE C37.20.3", highest_voltage_kv=27)
    evaluation = evaluate(step, of_both_polarities({1: positive, -1: negative}, discharged), SETUP)
    assert evaluation.verdict == verdict
    assert words in found(evaluation, "disruptive_discharges", "full_positive").reason


@pytest.mark.parametrize(
    ("discharged", "verdict"),
    [
        ({1: [2, 4], -1: [3, 5]}, "conforms"),
        ({1: [2, 4, 6]}, "does_not_conform"),
        ({1: [2, 14]}, "inconclusive"),
    ],
)
def test_fifteen_with_two_discharges_of_each_polarity(discharged, verdict):
    """Read in an excerpt of IEC 60071-1: up to 2 in 15; the last five clear: IEC 62271-1, from memory."""
    step = planned_impulse("IEC 62271-1")
    evaluation = evaluate(step, of_both_polarities({1: 15, -1: 15}, discharged), SETUP)
    assert evaluation.verdict == verdict


def test_a_planned_reduced_impulse_is_compared_with_the_full_ones():
    """From memory of IEC 60076-3: one reduced impulse, then three full ones; their traces are laid over each other."""
    reactor = {"equipment": "series_reactor", "highest_voltage_kv": 15.5, "lightning_impulse_kv": 110}
    step = planned_impulse("IEEE C57.16", **reactor)
    level = step["procedure"]["stages"][0]["voltage_kv"]
    evaluation = evaluate(step, [impulse(-one, seed=place) for place, one in enumerate((level, 110, 110, 110))], SETUP)
    assert evaluation.verdict == "conforms"
    assert found(evaluation, "voltage_difference_pct").value < 2
    assert found(evaluation, "impulses", "reduced").value == 1


def test_polarity_does_not_change_what_is_found():
    step = {"kind": "lightning_impulse", "stages": [{**FULL, "polarity": "positive"}], "criteria": SHAPE}
    record = impulse()
    turned = replace(record, channels={"voltage_kv": -record.channels["voltage_kv"]})
    here, there = evaluate(STEP, [record], SETUP), evaluate(step, [turned], SETUP)
    assert [(f.quantity, f.value) for f in here.findings] == [(f.quantity, f.value) for f in there.findings]


@pytest.mark.parametrize(
    ("record", "quantity", "words"),
    [
        (impulse(125.0), "test_voltage_kv", "No stage asks for an impulse of positive polarity"),
        (impulse(-110.0), "test_voltage_kv", "beyond the limit"),
        (impulse(-140.0), "test_voltage_kv", "beyond the limit"),
        (impulse(-60.0), "impulses", "far from every set point of its polarity"),
        (impulse(duration_us=30), "time_to_half_value_us", "before the voltage has fallen to half"),
        (impulse(interval_us=0.5), "front_time_us", "too few samples between 30 % and 90 %"),
    ],
)
def test_a_fault_of_the_test_is_not_valid_and_says_why(record, quantity, words):
    evaluation = evaluate(STEP, [record], SETUP)
    assert evaluation.verdict == "not_valid"
    finding = found(evaluation, quantity)
    assert finding.verdict == "not_valid"
    assert words in finding.reason


def test_a_front_that_is_too_slow_is_the_tests_fault():
    record = synthesise_impulse(wave_with_crest(-125, fast_us=0.8), seed=1, disturbance=USUAL)
    evaluation = evaluate(STEP, [record], SETUP)
    assert (evaluation.verdict, found(evaluation, "front_time_us").verdict) == ("not_valid", "not_valid")


def test_too_much_overshoot_is_the_tests_fault():
    record = synthesise_impulse(wave_with_crest(-125), seed=1, oscillation=Oscillation(0.35, 0.7, 2.0))
    assert found(evaluate(STEP, [record], SETUP), "relative_overshoot_pct").value > 10


@pytest.mark.parametrize("after_us", [0.6, 3.0, 12.0, 40.0])
def test_a_collapse_of_a_full_impulse_is_a_disruptive_discharge(after_us):
    evaluation = evaluate(STEP, [impulse(chopped_after_us=after_us)], SETUP)
    assert evaluation.verdict == "does_not_conform"
    finding = found(evaluation, "disruptive_discharges")
    assert (finding.value, finding.verdict) == (1.0, "does_not_conform")
    event = evaluation.events[0]
    assert event.name == "disruptive_discharge"
    assert event.time_s == pytest.approx((5 + after_us) * 1e-6, abs=0.05e-6)


def test_a_collapse_above_what_the_plan_allows_is_not_the_units_fault():
    evaluation = evaluate(STEP, [impulse(-140.0, chopped_after_us=10.0)], SETUP)
    assert evaluation.verdict == "not_valid"
    assert "above what the plan allows" in found(evaluation, "disruptive_discharges").reason


def test_the_time_to_chopping_counts_from_the_virtual_origin():
    """Chopped 3.000 µs after the true origin, which lies 0.2206 µs after the virtual one (closed form)."""
    step = {"kind": "lightning_impulse", "stages": [CHOPPED]}
    record = synthesise_impulse(wave_with_crest(-137), seed=1, chopped_after_us=3.0)
    finding = found(evaluate(step, [record], SETUP), "time_to_chopping_us")
    assert finding.value == pytest.approx(3.2206, abs=0.015)


def test_a_front_chopped_impulse_reads_its_extreme():
    step = {"kind": "lightning_impulse", "stages": [{**CHOPPED, "voltage_kv": 110, "tolerance_pct": 5}]}
    wave = wave_with_crest(-137)
    record = synthesise_impulse(wave, seed=1, chopped_after_us=0.7)
    level = float(abs(wave.at(np.array([5.7]))[0]))
    finding = found(evaluate(step, [record], SETUP), "test_voltage_kv")
    assert finding.value == pytest.approx(level, rel=0.01)


SEQUENCE = {"kind": "lightning_impulse", "acceptance": "three", "stages": [REDUCED, FULL, CHOPPED]}


def sequence(*crests, current=2.0):
    options = {"current_a_per_kv": current} if current else {}
    return [
        impulse(crest, seed, chopped_after_us=3.0 if crest < -130 else None, **options)
        for seed, crest in enumerate(crests)
    ]


def test_reduced_full_and_chopped_impulses_find_their_stages():
    evaluation = evaluate(SEQUENCE, sequence(-75, -125, -137, -125.5, -124.5), SETUP)
    assert evaluation.verdict == "conforms"
    counts = {row.stage: row.value for row in evaluation.findings if row.quantity == "impulses"}
    assert counts == {"reduced": 1.0, "full": 3.0, "chopped": 1.0}
    assert found(evaluation, "voltage_difference_pct").value < 1.5
    assert found(evaluation, "current_difference_pct").value < 1.5
    assert evaluation.rows == 5 * 10_000


def test_a_short_sequence_is_inconclusive_and_says_how_many_are_missing():
    evaluation = evaluate(SEQUENCE, sequence(-75, -125, -137), SETUP)
    assert evaluation.verdict == "inconclusive"
    assert "2 further impulses needed" in found(evaluation, "disruptive_discharges").reason


def test_a_stage_without_its_impulse_is_not_valid():
    evaluation = evaluate(SEQUENCE, sequence(-125, -125, -125, -137), SETUP)
    assert evaluation.verdict == "not_valid"
    assert (
        "No record shows an impulse for the stage “reduced”" in found(evaluation, "test_voltage_kv", "reduced").reason
    )


def test_a_weak_impulse_that_was_repeated_is_only_told():
    evaluation = evaluate({**SEQUENCE, "stages": [FULL]}, sequence(-118, -125, -125, -125), SETUP)
    assert evaluation.verdict == "conforms"
    assert "Not counted: impulse 1 (118" in found(evaluation, "impulses").reason


def test_a_discharge_at_full_level_is_told_from_the_chopped_impulse():
    bad = impulse(-125, 9, chopped_after_us=8.0, current_a_per_kv=2.0)
    evaluation = evaluate(SEQUENCE, [*sequence(-75, -125, -137, -125), bad], SETUP)
    assert evaluation.verdict == "does_not_conform"
    assert "Impulse 5 collapsed at 125" in found(evaluation, "disruptive_discharges").reason


def test_more_chopped_impulses_than_asked_are_discharges():
    """Full and chopped at one level: the step asks for one chopped impulse, so a second collapse is the unit's."""
    stages = [FULL, {**CHOPPED, "voltage_kv": 125, "impulses": 1}]
    records = [impulse(-125, 1), impulse(-125, 2, chopped_after_us=3.0), impulse(-125, 3, chopped_after_us=6.0)]
    step = {"kind": "lightning_impulse", "stages": stages}
    assert evaluate(step, records[:2], SETUP).verdict == "conforms"
    assert evaluate(step, records, SETUP).verdict == "does_not_conform"


def test_one_discharge_of_fifteen_is_allowed_where_the_sequence_says_so():
    records = [impulse(-125, seed, interval_us=0.02) for seed in range(14)] + [impulse(-125, 99, chopped_after_us=9.0)]
    step = {"kind": "lightning_impulse", "acceptance": "fifteen", "stages": [FULL]}
    finding = found(evaluate(step, records, SETUP), "disruptive_discharges")
    assert (finding.value, finding.maximum, finding.verdict) == (1.0, 2, "conforms")


def test_a_listed_limit_stays_though_the_sequence_allows_more():
    records = [impulse(-125, seed, interval_us=0.02) for seed in range(14)] + [impulse(-125, 99, chopped_after_us=9.0)]
    step = {
        "kind": "lightning_impulse",
        "acceptance": "fifteen",
        "stages": [FULL],
        "criteria": [{"quantity": "disruptive_discharges", "max": 0}],
    }
    assert evaluate(step, records, SETUP).verdict == "does_not_conform"


def test_a_damaged_winding_shows_in_the_current():
    """A full impulse whose current departs by 5 % of its crest from 20 µs on."""
    reduced, full = sequence(-75, -125)
    current = full.channels["current_a"].copy()
    current[full.time_s > 25e-6] *= 1.05
    step = {
        "kind": "lightning_impulse",
        "stages": [REDUCED, FULL],
        "criteria": [{"quantity": "current_difference_pct", "max": 3}],
    }
    altered = replace(full, channels={**full.channels, "current_a": current})
    good = evaluate(step, [reduced, full], SETUP)
    bad = evaluate(step, [reduced, altered], SETUP)
    assert (good.verdict, bad.verdict) == ("conforms", "does_not_conform")
    assert found(bad, "current_difference_pct").value == pytest.approx(5, abs=1.5)


def test_without_current_the_comparison_of_currents_is_inconclusive():
    step = {
        "kind": "lightning_impulse",
        "stages": [REDUCED, FULL],
        "criteria": [{"quantity": "current_difference_pct", "max": 3}],
    }
    finding = found(evaluate(step, sequence(-75, -125, current=None), SETUP), "current_difference_pct")
    assert (finding.verdict, finding.reason[:28]) == ("inconclusive", "The records hold no current,")


def test_without_instruments_the_uncertainty_of_the_voltage_is_not_known():
    evaluation = evaluate(STEP, [impulse()])
    assert found(evaluation, "test_voltage_kv").expanded_uncertainty is None
    assert any("no instrument for time" in remark for remark in evaluation.remarks)


TIME_S = np.arange(5000) * 2e-8
GOOD = impulse(interval_us=0.02)


@pytest.mark.parametrize(
    ("time_s", "voltage_kv", "words"),
    [
        ([], [], "The record has 0 samples"),
        ([0.0], [1.0], "The record has 1 sample;"),
        (TIME_S, np.full(5000, np.nan), "Sample 1 of the voltage is not a finite number"),
        (TIME_S, np.where(TIME_S > 5e-6, np.inf, 0.0), "is not a finite number"),
        (TIME_S, np.full(5000, -125.0), "All samples are -125 kV"),
        (TIME_S, np.zeros(5000), "All samples are 0 kV"),
        (TIME_S[::-1], GOOD.channels["voltage_kv"], "Time goes backwards at sample 2"),
        (np.repeat(TIME_S[::2], 2), GOOD.channels["voltage_kv"], "Sample 2 carries the same time"),
        (TIME_S, np.maximum(GOOD.channels["voltage_kv"], -110.0), "the record is clipped"),
        (TIME_S, GOOD.channels["voltage_kv"][::-1], "The record"),
        (TIME_S, np.random.default_rng(1).normal(0, 1, 5000), "the record shows no impulse"),
        (TIME_S, 125 * np.sin(TIME_S * 1e6), "does not come to rest"),
        (TIME_S, TIME_S * -1e6, "ends before the impulse has reached its crest"),
        (TIME_S, -125 * np.exp(-TIME_S * 1e6 / 20), "no front"),
    ],
)
def test_odd_records_are_not_valid_and_say_why(time_s, voltage_kv, words):
    record = Recording(np.asarray(time_s, dtype=float), {"voltage_kv": np.asarray(voltage_kv, dtype=float)})
    evaluation = evaluate(STEP, [record], SETUP)
    assert evaluation.verdict == "not_valid"
    assert any(words in finding.reason for finding in evaluation.findings), evaluation.findings[0].reason
    json.dumps(evaluation.as_dict(), allow_nan=False)


def test_one_bad_record_among_good_ones_is_named():
    evaluation = evaluate(STEP, [GOOD, replace(GOOD, channels={"voltage_kv": np.zeros(5000)})], SETUP)
    assert evaluation.verdict == "not_valid"
    assert "Impulse 2: All samples are 0 kV" in found(evaluation, "disruptive_discharges").reason


def test_a_fit_that_fails_says_so():
    """A front, a wide dip and a second crest: no double exponential has that tail."""
    corners_us = [0, 5, 6.2, 20, 25, 40, 45, 70, 90, 100]
    corners_kv = [0, 0, -125, -122, -55, -54, -120, -118, 0, 0]
    voltage_kv = np.interp(TIME_S * 1e6, corners_us, corners_kv)
    evaluation = evaluate(STEP, [Recording(TIME_S, {"voltage_kv": voltage_kv})], SETUP)
    assert evaluation.verdict == "not_valid"
    assert "The base curve could not be fitted" in found(evaluation, "front_time_us").reason


def kept(record, keep):
    return Recording(record.time_s[keep], {"voltage_kv": record.channels["voltage_kv"][keep]})


def test_missing_samples_on_the_tail_are_bridged_and_on_the_front_refused():
    keep = np.ones(GOOD.rows, dtype=bool)
    keep[2000:2006] = False
    evaluation = evaluate(
        STEP, [Recording(GOOD.time_s[keep], {"voltage_kv": GOOD.channels["voltage_kv"][keep]})], SETUP
    )
    assert evaluation.verdict == "conforms"
    assert any("1 gaps in the samples" in remark for remark in evaluation.remarks)
    keep[260:290] = False
    evaluation = evaluate(
        STEP, [Recording(GOOD.time_s[keep], {"voltage_kv": GOOD.channels["voltage_kv"][keep]})], SETUP
    )
    assert evaluation.verdict == "not_valid"
    assert "Samples are missing on the front" in found(evaluation, "front_time_us").reason


def test_a_drifting_base_level_is_taken_off_and_told():
    drifting = Disturbance(noise=0.001, drift_kv_per_us=0.05)
    record = synthesise_impulse(wave_with_crest(-125, start_us=30), seed=1, duration_us=130, disturbance=drifting)
    evaluation = evaluate(STEP, [record], SETUP)
    assert found(evaluation, "test_voltage_kv").value == pytest.approx(125, rel=2e-3)
    assert any("The base level drifts by 0.05" in remark for remark in evaluation.remarks)


def test_a_record_without_a_flat_part_takes_its_own_zero_and_says_so():
    record = synthesise_impulse(wave_with_crest(-125, start_us=0.0), seed=1)
    evaluation = evaluate(STEP, [record], SETUP)
    assert evaluation.verdict == "conforms"
    assert found(evaluation, "front_time_us").value == pytest.approx(1.2, rel=1e-4)
    assert any("no flat part before the impulse" in remark for remark in evaluation.remarks)
