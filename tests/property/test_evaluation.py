"""Laws of the evaluation: what must not change a verdict does not, and nothing missing is ever a pass."""

from __future__ import annotations

import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from records.evaluation.evaluating import evaluate
from records.evaluation.setups import parse_setup
from records.evaluation.synthesis import Discharges, Hold, synthesise_discharge, synthesise_withstand
from records.evaluation.writing import WrittenDialect, write_csv
from records.readers.reading import read_record
from records.readers.recording import Recording

WITHSTAND = {
    "kind": "power_frequency_withstand",
    "stages": [{"name": "withstand", "voltage_kv": 30, "hold_s": 60, "tolerance_pct": 3}],
}
DISCHARGE = {
    "kind": "partial_discharge",
    "stages": [
        {"name": "prestress", "voltage_kv": 30, "hold_s": 60, "tolerance_pct": 3},
        {"name": "measurement", "voltage_kv": 18.71, "hold_s": 120, "tolerance_pct": 3},
    ],
    "threshold_pc": 10,
    "criteria": [
        {"quantity": "apparent_charge_pc", "stage": "measurement", "max": 100},
        {"quantity": "extinction_voltage_kv", "min": 17},
        {"quantity": "time_to_extinction_s", "max": 120},
    ],
}
SETUP = parse_setup({"instruments": [{"name": "a", "relative_uncertainty_pct": 3}]})
HOLDS = [Hold(30, 63), Hold(18.71, 125)]
QUICK = settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
seeds = st.integers(0, 10_000)

CASES = {
    "good withstand": (WITHSTAND, lambda seed: synthesise_withstand([Hold(30, 63)], seed=seed), "conforms"),
    "low withstand": (WITHSTAND, lambda seed: synthesise_withstand([Hold(27, 63)], seed=seed), "not_valid"),
    "short withstand": (WITHSTAND, lambda seed: synthesise_withstand([Hold(30, 50)], seed=seed), "not_valid"),
    "flashover": (
        WITHSTAND,
        lambda seed: synthesise_withstand([Hold(30, 63)], seed=seed, collapse_at_s=50),
        "does_not_conform",
    ),
    "quiet unit": (DISCHARGE, lambda seed: synthesise_discharge(HOLDS, None, seed=seed), "conforms"),
    "extinguishing unit": (
        DISCHARGE,
        lambda seed: synthesise_discharge(HOLDS, Discharges(24, 20, 250), seed=seed),
        "conforms",
    ),
    "burning unit": (
        DISCHARGE,
        lambda seed: synthesise_discharge(HOLDS, Discharges(24, 12, 250), seed=seed),
        "does_not_conform",
    ),
    "noisy circuit": (
        DISCHARGE,
        lambda seed: synthesise_discharge(HOLDS, Discharges(24, 12, 250), seed=seed, noise_pc=70),
        "not_valid",
    ),
}
each_case = pytest.mark.parametrize("name", CASES)


def made(name, seed):
    step, make, verdict = CASES[name]
    return step, make(seed), verdict


def resampled(recording, times):
    t = np.linspace(recording.time_s[0], recording.time_s[-1], (recording.rows - 1) * times + 1)
    return Recording(t, {name: np.interp(t, recording.time_s, v) for name, v in recording.channels.items()})


def with_silence(recording, seconds):
    step = recording.time_s[1] - recording.time_s[0]
    t = np.concatenate((recording.time_s, recording.time_s[-1] + step * np.arange(1, round(seconds / step) + 1)))
    count = len(t) - recording.rows
    return Recording(t, {name: np.concatenate((v, np.full(count, v[-1]))) for name, v in recording.channels.items()})


@each_case
@QUICK
@given(seed=seeds, shift=st.floats(-1e5, 1e5))
def test_shifting_time_changes_no_verdict(name, seed, shift):
    step, recording, verdict = made(name, seed)
    assert evaluate(step, [recording], SETUP).verdict == verdict
    assert evaluate(step, [replace(recording, time_s=recording.time_s + shift)], SETUP).verdict == verdict


@each_case
@QUICK
@given(seed=seeds, times=st.integers(2, 7))
def test_denser_samples_change_no_verdict(name, seed, times):
    step, recording, verdict = made(name, seed)
    assert evaluate(step, [resampled(recording, times)], SETUP).verdict == verdict


@each_case
@QUICK
@given(seed=seeds, seconds=st.floats(1, 600))
def test_appended_silence_changes_no_verdict(name, seed, seconds):
    step, recording, verdict = made(name, seed)
    assert evaluate(step, [with_silence(recording, seconds)], SETUP).verdict == verdict


@each_case
@settings(QUICK, max_examples=8)
@given(
    seed=seeds,
    time_unit=st.sampled_from(["s", "ms", "min"]),
    voltage_unit=st.sampled_from(["kV", "V"]),
    charge_unit=st.sampled_from(["pC", "nC"]),
)
def test_units_of_the_file_change_no_verdict(name, seed, time_unit, voltage_unit, charge_unit):
    step, recording, verdict = made(name, seed)
    units = {"time_s": time_unit, "voltage_kv": voltage_unit, "charge_pc": charge_unit}
    with tempfile.TemporaryDirectory() as room:
        path = Path(room) / "record.csv"
        write_csv(path, recording, WrittenDialect(units=units))
        assert evaluate(step, [read_record(path)], SETUP).verdict == verdict


@QUICK
@given(seed=seeds, factor=st.floats(0.1, 10))
def test_a_scale_factor_undoes_a_scaled_detector(seed, factor):
    setup = parse_setup({"charge_calibration": {"injected_pc": 100, "reading": 100 / factor}})
    for discharges, verdict in ((Discharges(24, 20, 250), "conforms"), (Discharges(24, 12, 250), "does_not_conform")):
        recording = synthesise_discharge(HOLDS, discharges, seed=seed, scale_factor=factor)
        assert evaluate(DISCHARGE, [recording], setup).verdict == verdict


def without(recording, step, place):
    """The record with the samples near one stage's set point taken out, and the time closed up."""
    stage = step["stages"][place]
    near = np.abs(recording.channels["voltage_kv"] - stage["voltage_kv"]) <= 0.04 * stage["voltage_kv"]
    kept = ~near
    t = np.arange(int(kept.sum())) * (recording.time_s[1] - recording.time_s[0])
    return Recording(t, {name: values[kept] for name, values in recording.channels.items()})


@QUICK
@given(seed=seeds, place=st.integers(0, 1), burning=st.booleans())
def test_a_record_with_a_stage_removed_never_conforms(seed, place, burning):
    recording = synthesise_discharge(HOLDS, Discharges(24, 20, 250) if burning else None, seed=seed)
    assert evaluate(DISCHARGE, [without(recording, DISCHARGE, place)]).verdict in ("not_valid", "inconclusive")


@QUICK
@given(seed=seeds, place=st.integers(0, 1))
def test_a_profile_with_a_stage_left_out_never_conforms(seed, place):
    recording = synthesise_discharge([HOLDS[1 - place]], None, seed=seed)
    assert evaluate(DISCHARGE, [recording]).verdict == "not_valid"


@QUICK
@given(seed=seeds, share=st.floats(0.0, 0.97))
def test_a_record_cut_off_before_the_end_of_the_hold_is_never_judged_on_the_unit(seed, share):
    whole = synthesise_discharge(HOLDS, Discharges(24, 12, 250), seed=seed)
    end_s = 10 + 15 + 63 + (30 - 18.71) / 2 + 115  # quiet, ramp, prestress, ramp, 115 of 120 s
    kept = whole.time_s < share * end_s
    cut = Recording(whole.time_s[kept], {name: values[kept] for name, values in whole.channels.items()})
    assert evaluate(DISCHARGE, [cut]).verdict == "not_valid"


odd_numbers = st.one_of(st.floats(), st.floats(0, 40), st.sampled_from([0.0, 30.0, 18.71]))


@settings(QUICK, max_examples=200)
@given(st.data(), st.integers(0, 60))
def test_no_arrays_raise_and_none_conform_without_a_hold(data, rows):
    time_s = data.draw(st.one_of(arrays(float, rows, elements=odd_numbers), st.just(np.arange(rows, dtype=float))))
    channels = {name: data.draw(arrays(float, rows, elements=odd_numbers)) for name in ("voltage_kv", "charge_pc")}
    recording = Recording(time_s, channels)
    for step in (WITHSTAND, DISCHARGE):
        with np.errstate(all="ignore"):
            evaluation = evaluate(step, [recording])
        held = [f.value for f in evaluation.findings if f.quantity == "held_s" and f.verdict == "conforms"]
        assert evaluation.verdict != "conforms" or len(held) == len(step["stages"])
        assert all(finding.reason for finding in evaluation.findings)


@QUICK
@given(
    stated=st.floats(0.01, 5),
    slope=st.floats(-0.02, 0.02),
    own=st.floats(0, 1),
    further=st.floats(0, 5),
    use=st.sampled_from(["applied", "not_applied"]),
)
def test_an_uncertainty_never_shrinks_when_a_correction_or_an_instrument_is_added(stated, slope, own, further, use):
    """A correction left out adds to what was stated; a second instrument adds to whatever there was."""
    record = synthesise_withstand([Hold(30, 63)], seed=1)
    points = [{"reading": at, "correction": slope * at, "expanded_uncertainty": own} for at in (1, 60)]
    row = {"name": "a", "quantity": "voltage", "relative_uncertainty_pct": stated}
    carried = {**row, "corrections": {"use": use, "unit": "kV", "points": points}}
    beside = {"name": "b", "quantity": "voltage", "relative_uncertainty_pct": further}

    def u(*instruments):
        evaluation = evaluate(WITHSTAND, [record], parse_setup({"instruments": list(instruments)}))
        return next(row.expanded_uncertainty for row in evaluation.findings if row.quantity == "held_voltage_kv")

    assert u(carried, beside) >= u(carried)
    if use == "not_applied":
        assert u(carried) >= u(row)
