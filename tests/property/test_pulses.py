"""Laws of pulse lists and waves: what must not change a quantity does not, and nothing missing is ever a pass."""

from __future__ import annotations

import contextlib
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from records.evaluation.evaluating import evaluate
from records.evaluation.joining import PulseRecording, RecordsDoNotJoin
from records.evaluation.phase_pattern import count_pattern
from records.evaluation.pulse_trains import (
    derive_quantities,
    largest_repeated_charge,
    repeated,
    train_response,
)
from records.evaluation.setups import parse_setup
from records.evaluation.synthesis import Hold, PulseTrain, synthesise_pulses, synthesise_wave, synthesise_withstand
from records.readers.recording import Recording

QUICK = settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
charges = arrays(float, st.integers(1, 300), elements=st.floats(-1e4, 1e4))
factors = st.floats(1e-3, 1e3)

STEP = {
    "kind": "partial_discharge",
    "stages": [
        {"name": "prestress", "voltage_kv": 12, "hold_s": 6, "tolerance_pct": 3},
        {"name": "measurement", "voltage_kv": 8, "hold_s": 12, "tolerance_pct": 3},
    ],
    "threshold_pc": 10,
    "criteria": [
        {"quantity": "apparent_charge_pc", "stage": "measurement", "max": 100},
        {"quantity": "extinction_voltage_kv", "min": 8.5},
    ],
}
WAVE_STEP = {
    "kind": "power_frequency_withstand",
    "stages": [
        {"name": "low", "voltage_kv": 8, "hold_s": 5, "tolerance_pct": 3},
        {"name": "high", "voltage_kv": 12, "hold_s": 10, "tolerance_pct": 3},
    ],
}
SETUP = parse_setup({"background_noise_pc": 2.0, "instruments": [{"name": "a", "relative_uncertainty_pct": 3}]})
HOLDS = [Hold(12, 8), Hold(8, 14)]
CASES = {
    "extinguishing": (PulseTrain(250, 100, 14.5, 24.7), "conforms"),
    "burning": (PulseTrain(250, 100, 14.5, 42), "does_not_conform"),
}
each_case = pytest.mark.parametrize("name", CASES)
seeds = st.integers(0, 10_000)


def listed(name, seed):
    train, verdict = CASES[name]
    return synthesise_pulses(HOLDS, [PulseTrain(2, 150, 0.0, 44.0), train], seed=seed), verdict


@QUICK
@given(charges, factors, st.floats(0.1, 100))
def test_scaling_charge_scales_what_is_linear_in_it(charge, factor, duration):
    before, after = derive_quantities(charge, duration, charge), derive_quantities(factor * charge, duration, charge)
    assert after.count == before.count
    assert after.average_discharge_current_a == pytest.approx(
        factor * before.average_discharge_current_a, rel=1e-9, abs=0
    )
    assert after.quadratic_rate_c2_per_s == pytest.approx(factor**2 * before.quadratic_rate_c2_per_s, rel=1e-9, abs=0)
    assert after.discharge_power_w == pytest.approx(factor * before.discharge_power_w, rel=1e-9, abs=1e-300)
    weighted = largest_repeated_charge(charge, duration)
    assert largest_repeated_charge(factor * charge, duration) == pytest.approx(factor * weighted)
    assert 0 <= weighted <= np.abs(charge).max() * (1 + 1e-12)


@QUICK
@given(charges, st.randoms(use_true_random=False))
def test_the_order_of_pulses_counts_for_nothing(charge, chance):
    shuffled = np.array(chance.sample(charge.tolist(), len(charge)))
    assert largest_repeated_charge(shuffled, 10.0) == largest_repeated_charge(charge, 10.0)
    phase = np.linspace(0, 359, len(charge))
    places = np.array(chance.sample(range(len(charge)), len(charge)))
    there, back = count_pattern(phase, charge), count_pattern(phase[places], charge[places])
    assert np.array_equal(there.counts, back.counts)


@QUICK
@given(charges, st.floats(0.5, 1e4))
def test_another_pulse_never_lowers_the_reading(charge, more):
    assert largest_repeated_charge(np.append(charge, more), 10.0) >= largest_repeated_charge(charge, 10.0)


@QUICK
@given(st.floats(0, 1e6), st.floats(0, 1e6))
def test_the_response_rises_with_the_rate_and_stays_below_one(first, second):
    low, high = sorted((first, second))
    assert 0 <= float(train_response(low)) <= float(train_response(high)) * (1 + 1e-12)
    assert float(train_response(high)) <= 1


@QUICK
@given(arrays(float, st.integers(0, 60), elements=st.floats(0, 20)), st.floats(-1e4, 1e4))
def test_what_repeats_does_not_depend_on_the_zero_of_time(times, shift):
    times = np.round(np.sort(times), 3)
    whole = round(shift)  # whole seconds, so that no difference is rounded another way
    near = np.abs(np.subtract.outer(times, times)) - 1.0
    if np.any(np.abs(near) < 1e-9):
        return
    assert np.array_equal(repeated(times), repeated(times + whole))


@QUICK
@given(charges, st.integers(-5, 5))
def test_whole_turns_change_no_pattern(charge, turns):
    phase = np.arange(len(charge)) * 1.2345 % 360
    there, turned = count_pattern(phase, charge), count_pattern(phase + 360.0 * turns, charge)
    assert there.pulses == turned.pulses == len(charge)
    assert np.abs(there.counts.sum(axis=0) - turned.counts.sum(axis=0)).sum() == 0


@each_case
@settings(QUICK, max_examples=8)
@given(seed=seeds, shift=st.integers(-10_000, 10_000))
def test_shifting_time_changes_no_verdict(name, seed, shift):
    recording, verdict = listed(name, seed)
    assert evaluate(STEP, [recording], SETUP).verdict == verdict
    assert evaluate(STEP, [replace(recording, time_s=recording.time_s + shift)], SETUP).verdict == verdict


@each_case
@settings(QUICK, max_examples=8)
@given(seed=seeds, order_seed=seeds)
def test_shuffling_pulses_of_equal_times_changes_nothing(name, seed, order_seed):
    recording, _ = listed(name, seed)
    time_s = np.floor(recording.time_s * 100) / 100  # to half a period of 50 Hz, so that many times are equal
    order = np.lexsort((np.random.default_rng(order_seed).random(len(time_s)), time_s))
    channels = {key: values[order] for key, values in recording.channels.items()}
    there = evaluate(STEP, [Recording(time_s, dict(recording.channels))], SETUP)
    shuffled = evaluate(STEP, [Recording(time_s, channels)], SETUP)
    assert there.verdict == shuffled.verdict
    for before, after in zip(there.findings, shuffled.findings, strict=True):
        assert (before.value is None) == (after.value is None)
        assert before.value is None or before.value == pytest.approx(after.value, rel=1e-9)


@each_case
@settings(QUICK, max_examples=8)
@given(seed=seeds, seconds=st.floats(1, 600))
def test_appended_silence_changes_no_verdict(name, seed, seconds):
    recording, verdict = listed(name, seed)
    trend = synthesise_withstand(HOLDS, seed=seed)
    step = trend.time_s[1] - trend.time_s[0]
    more = trend.time_s[-1] + step * np.arange(1, round(seconds / step) + 1)
    longer = Recording(
        np.append(trend.time_s, more), {"voltage_kv": np.append(trend.channels["voltage_kv"], np.zeros(len(more)))}
    )
    assert evaluate(STEP, [recording, trend], SETUP).verdict == verdict
    assert evaluate(STEP, [recording, longer], SETUP).verdict == verdict


@each_case
@settings(QUICK, max_examples=8)
@given(seed=seeds, place=st.integers(0, 1))
def test_a_list_without_a_stage_never_conforms(name, seed, place):
    hold = HOLDS[1 - place]
    train = CASES[name][0]
    recording = synthesise_pulses([hold], [PulseTrain(2, 150, 0.0, 30.0), replace(train, end_s=30.0)], seed=seed)
    assert evaluate(STEP, [recording], SETUP).verdict in ("not_valid", "inconclusive")


@settings(QUICK, max_examples=8)
@given(seed=seeds, frequency_hz=st.floats(46, 64), shift=st.integers(-1000, 1000))
def test_polarity_and_zero_of_time_change_no_verdict_of_a_wave(seed, frequency_hz, shift):
    holds = [Hold(8, 6), Hold(12, 11)]
    wave = synthesise_wave(holds, seed=seed, frequency_hz=frequency_hz, rate_hz=2000, noise_kv=0.02)
    turned = {"voltage_kv": -wave.channels["voltage_kv"]}
    assert evaluate(WAVE_STEP, [wave]).verdict == "conforms"
    assert evaluate(WAVE_STEP, [Recording(wave.time_s + shift, turned)]).verdict == "conforms"


@settings(QUICK, max_examples=6)
@given(seed=seeds, place=st.integers(0, 1))
def test_a_wave_without_a_stage_never_conforms(seed, place):
    holds = [Hold(8, 6), Hold(12, 11)]
    wave = synthesise_wave([holds[1 - place]], seed=seed, rate_hz=2000)
    assert evaluate(WAVE_STEP, [wave]).verdict == "not_valid"


odd = st.one_of(st.floats(), st.floats(-40, 40), st.sampled_from([0.0, 12.0, -12.0, 360.0]))


@settings(QUICK, max_examples=150)
@given(st.data(), st.integers(0, 60), st.integers(0, 15))
def test_no_arrays_raise_and_none_conform_without_a_hold(data, rows, which):
    names = [name for place, name in enumerate(("charge_pc", "phase_deg", "voltage_kv", "gated")) if which >> place & 1]
    time_s = data.draw(st.one_of(arrays(float, rows, elements=odd), st.just(np.arange(rows, dtype=float) / 100)))
    recording = Recording(time_s, {name: data.draw(arrays(float, rows, elements=odd)) for name in names})
    with np.errstate(all="ignore"):
        for step in (STEP, WAVE_STEP):
            _never_by_chance(evaluate(step, [recording], SETUP), step)
        for other in (synthesise_withstand(HOLDS, seed=1), recording):
            with contextlib.suppress(RecordsDoNotJoin):
                _never_by_chance(evaluate(STEP, [recording, other], SETUP), STEP)


def _never_by_chance(evaluation, step):
    held = [f for f in evaluation.findings if f.quantity == "held_s" and f.verdict == "conforms"]
    assert evaluation.verdict != "conforms" or len(held) == len(step["stages"])
    assert all(finding.reason for finding in evaluation.findings)


def test_a_pulse_list_with_an_odd_voltage_record_is_not_valid():
    listed_only, _ = listed("burning", 1)
    odd_voltage = Recording(np.arange(3.0), {"voltage_kv": np.array([1.0, np.nan, 1.0])})
    evaluation = evaluate(STEP, [listed_only, odd_voltage], SETUP)
    assert evaluation.verdict == "not_valid"
    assert "Sample 2 of the voltage" in evaluation.findings[0].reason
    assert isinstance(PulseRecording(np.zeros(0), {}).voltage, Recording)
