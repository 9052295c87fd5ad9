"""Laws of impulses and sweeps: what must not change a result, and what must change it in proportion."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from records.evaluation.evaluating import evaluate
from records.evaluation.impulse.parameters import evaluate_impulse
from records.evaluation.impulse.synthesis import Disturbance, Oscillation, synthesise_impulse, wave_with_crest
from records.evaluation.sweep.branches import find_branches
from records.evaluation.sweep.synthesis import SeriesBranch, impedance_of
from records.readers.recording import Recording

QUIET = settings(max_examples=25, deadline=None)
RECORD = synthesise_impulse(
    wave_with_crest(100.0),
    seed=1,
    interval_us=0.02,
    oscillation=Oscillation(0.08, 0.5, 2.0),
    disturbance=Disturbance(noise=0.002, offset_kv=0.5),
)
TIME_S, VOLTAGE_KV = RECORD.time_s, RECORD.channels["voltage_kv"]
SMOOTH = synthesise_impulse(wave_with_crest(100.0), seed=1, interval_us=0.02, oscillation=Oscillation(0.08, 0.5, 2.0))


def parameters(time_s, voltage_kv):
    found = evaluate_impulse(time_s, voltage_kv)
    return np.array(
        [
            found.test_voltage_kv.value,
            found.front_us.value,
            found.half_value_us.value,
            found.overshoot_pct.value,
        ]
    )


PLAIN = parameters(TIME_S, VOLTAGE_KV)
_RING = Oscillation(0.08, 0.5, 2.0)
_RINGING = synthesise_impulse(wave_with_crest(100.0), seed=1, interval_us=0.002, oscillation=_RING)
FINE = parameters(_RINGING.time_s, _RINGING.channels["voltage_kv"])


@QUIET
@given(st.floats(1e-3, 1e3))
def test_a_greater_impulse_has_a_greater_test_voltage_and_the_same_shape(factor):
    found = parameters(TIME_S, factor * VOLTAGE_KV)
    np.testing.assert_allclose(found / PLAIN, [factor, 1, 1, 1], rtol=1e-5)


@QUIET
@given(st.floats(-1, 1e3))
def test_when_it_was_recorded_does_not_matter(begin_s):
    """A second has 53 bits: at 1000 s a time is known to 0.1 ps, at which the sampling period still is even."""
    np.testing.assert_allclose(parameters(TIME_S + begin_s, VOLTAGE_KV), PLAIN, rtol=2e-4)


@QUIET
@given(st.floats(-50, 50))
def test_the_level_before_the_impulse_does_not_matter(offset_kv):
    np.testing.assert_allclose(parameters(TIME_S, VOLTAGE_KV + offset_kv), PLAIN, rtol=1e-6)


def test_polarity_does_not_matter():
    np.testing.assert_allclose(parameters(TIME_S, -VOLTAGE_KV), PLAIN, rtol=1e-9)


@QUIET
@given(st.integers(0, 2000), st.integers(0, 2000))
def test_silence_before_and_a_longer_tail_do_not_matter(before, after):
    """Silence is the flat part once more; after half value and two fifths nothing is used."""
    level = VOLTAGE_KV[:200].mean()
    quiet = level + np.resize(VOLTAGE_KV[:200] - level, before)
    tail = np.full(after, VOLTAGE_KV[-1])
    voltage = np.concatenate([quiet, VOLTAGE_KV, tail])
    found = parameters(np.arange(len(voltage)) * 2e-8, voltage)
    np.testing.assert_allclose(found[:3], PLAIN[:3], rtol=1e-3)


@QUIET
@given(st.floats(0.004, 0.02))
def test_another_sampling_period_gives_the_same(interval_us):
    """Tolerances: a tenth of what IEC 61083-2 typically accepts, of T1 a quarter: few samples lie on the front."""
    record = synthesise_impulse(wave_with_crest(100.0), seed=1, interval_us=interval_us, oscillation=_RING)
    found = parameters(record.time_s, record.channels["voltage_kv"]) - FINE
    assert np.all(np.abs(found) <= [0.1, 0.006, 0.05, 0.1]), found


@QUIET
@given(st.floats(0.2, 5.0))
def test_a_slower_clock_gives_longer_times(factor):
    """Without a filter time has no scale of its own; the base curve shows it."""
    plain = evaluate_impulse(SMOOTH.time_s, SMOOTH.channels["voltage_kv"]).base.wave
    found = evaluate_impulse(SMOOTH.time_s * factor, SMOOTH.channels["voltage_kv"]).base.wave
    assert found.slow_us == pytest.approx(factor * plain.slow_us, rel=1e-6)
    assert found.fast_us == pytest.approx(factor * plain.fast_us, rel=1e-6)


IMPULSE_STEP = {
    "kind": "lightning_impulse",
    "stages": [{"name": "full", "voltage_kv": 100, "tolerance_pct": 3}],
    "criteria": [{"quantity": "front_time_us", "min": 0.84, "max": 1.56}],
}
SWEEP_STEP = {
    "kind": "frequency_response",
    "frequency_hz": 60,
    "criteria": [{"quantity": "tuned_order", "nominal": 4.7, "tolerance_pct": 2}],
}
numbers = st.floats(allow_nan=True, allow_infinity=True, width=32)


@settings(max_examples=150, deadline=None)
@given(st.lists(st.tuples(numbers, numbers), max_size=60))
def test_no_array_whatever_makes_an_impulse_test_fail_or_pass(rows):
    """Sixty wild samples are no impulse: the answer is a reasoned fault of the test, never an exception or a pass."""
    time_s, voltage = (np.array(column, dtype=float) for column in (zip(*rows, strict=True) if rows else ([], [])))
    evaluation = evaluate(IMPULSE_STEP, [Recording(np.sort(time_s), {"voltage_kv": voltage})])
    assert evaluation.verdict in ("not_valid", "inconclusive")
    assert all(finding.reason for finding in evaluation.findings)


@settings(max_examples=150, deadline=None)
@given(st.lists(st.tuples(numbers, numbers, numbers), max_size=60))
def test_no_array_whatever_makes_a_sweep_fail_with_an_exception(rows):
    columns = zip(*rows, strict=True) if rows else ([], [], [])
    frequency, magnitude, phase = (np.array(column, dtype=float) for column in columns)
    channels = {"frequency_hz": np.sort(frequency), "impedance_ohm": magnitude, "phase_deg": phase}
    evaluation = evaluate(SWEEP_STEP, [Recording(np.empty(0), channels)])
    assert evaluation.verdict in ("not_valid", "inconclusive", "does_not_conform")
    assert all(finding.reason for finding in evaluation.findings)


FREQUENCY = np.geomspace(50, 5000, 400)
BRANCHES = (SeriesBranch.tuned(282.5, 60, 6.37), SeriesBranch.tuned(600, 30, 2.5))
ADMITTANCE = 1 / impedance_of(FREQUENCY, BRANCHES)
KNOWN = find_branches(FREQUENCY, ADMITTANCE).branches


def compared(found, factors):
    """Assert f0, Q, L, C and R of each branch against those known, times factors."""
    names = ("resonance_hz", "quality_factor", "inductance_mh", "capacitance_uf", "resistance_ohm")
    assert len(found) == len(KNOWN)
    for branch, known in zip(found, KNOWN, strict=True):
        for name, factor in zip(names, factors, strict=True):
            assert getattr(branch, name).value == pytest.approx(factor * getattr(known, name).value, rel=1e-6), name


@QUIET
@given(st.floats(1e-4, 1e4))
def test_a_greater_admittance_has_smaller_inductances_at_the_same_frequencies(factor):
    found = find_branches(FREQUENCY, factor * ADMITTANCE).branches
    compared(found, (1, 1, 1 / factor, factor, 1 / factor))


@QUIET
@given(st.floats(1e-2, 1e3))
def test_a_faster_clock_moves_resonances_and_keeps_resistances(factor):
    found = find_branches(factor * FREQUENCY, ADMITTANCE).branches
    compared(found, (factor, 1, 1 / factor, 1 / factor, 1))


@QUIET
@given(st.integers(120, 1500))
def test_another_grid_of_frequencies_gives_the_same(points):
    frequency = np.geomspace(50, 5000, points)
    compared(find_branches(frequency, 1 / impedance_of(frequency, BRANCHES)).branches, (1, 1, 1, 1, 1))


def test_scaling_an_impulse_out_of_its_band_is_the_tests_fault():
    record = replace(SMOOTH, channels={"voltage_kv": 0.9 * SMOOTH.channels["voltage_kv"]})
    assert evaluate(IMPULSE_STEP, [record]).verdict == "not_valid"
