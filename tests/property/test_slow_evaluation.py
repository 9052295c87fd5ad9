"""Laws of the slow tests: what must not change a value does not, and no arrays whatever raise or slip through."""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from records.evaluation.absorption import correction_by_halving
from records.evaluation.conductors import resistance_at, rise_by_resistance
from records.evaluation.evaluating import evaluate
from records.evaluation.setups import parse_setup
from records.evaluation.slow_synthesis import (
    Disturbance,
    Winding,
    synthesise_absorption,
    synthesise_cooling,
    synthesise_table,
)
from records.evaluation.writing import WrittenDialect, write_csv
from records.readers.reading import read_record
from records.readers.recording import Recording
from records.readers.wanted import WANTED_BY_KIND

QUICK = settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
seeds = st.integers(0, 10_000)
factors = st.floats(0.01, 100)
RISE = {
    "kind": "temperature_rise",
    "material": "copper",
    "cold_resistance_ohm": 0.421,
    "cold_temperature_c": 22.5,
    "ambient_c": 25,
    "shutdown_s": 0,
    "criteria": [{"quantity": "temperature_rise_k", "max": 80}],
}
TABLE = {
    "winding_resistance": {"resistance_ohm": 0.421, "temperature_c": 22.5},
    "dissipation_factor": {"voltage_kv": 7.2, "dissipation_factor": 1e-4, "capacitance_uf": 10.0},
    "capacitance": {"voltage_kv": 7.2, "capacitance_uf": 10.0},
    "inductance": {"frequency_hz": 60.0, "inductance_mh": 5.0, "loss_w": 250.0, "current_a": 50.0},
}
STEPS = {
    "winding_resistance": {"kind": "winding_resistance", "material": "aluminium", "reference_temperature_c": 75},
    "dissipation_factor": {"kind": "dissipation_factor"},
    "capacitance": {"kind": "capacitance"},
    "inductance": {"kind": "inductance", "frequency_hz": 60},
}


def values(step, recordings, setup=None):
    return {f.quantity: f.value for f in evaluate(step, recordings, setup).findings}


def cooling(seed):
    return synthesise_cooling(Winding(), Disturbance(noise=2e-5, seed=seed))


@QUICK
@given(seed=seeds, factor=factors)
def test_a_rise_does_not_depend_on_the_unit_of_resistance(seed, factor):
    plain = cooling(seed)
    scaled = Recording(plain.time_s, {"resistance_ohm": factor * plain.channels["resistance_ohm"]})
    step = RISE | {"cold_resistance_ohm": 0.421 * factor}
    told = values(step, [scaled])["temperature_rise_k"]
    assert told == pytest.approx(values(RISE, [plain])["temperature_rise_k"], abs=1e-4)


@QUICK
@given(seed=seeds, shift=st.floats(-1e4, 1e5))
def test_a_rise_does_not_depend_on_the_zero_of_time(seed, shift):
    plain = cooling(seed)
    moved = Recording(plain.time_s + shift, plain.channels)
    told = values(RISE | {"shutdown_s": shift}, [moved])["temperature_rise_k"]
    assert told == pytest.approx(values(RISE, [plain])["temperature_rise_k"], abs=1e-4)


@QUICK
@given(seed=seeds, stretch=st.floats(0.1, 10))
def test_a_rise_does_not_depend_on_the_pace_of_cooling(seed, stretch):
    plain = cooling(seed)
    slower = Recording(stretch * plain.time_s, plain.channels)
    told = values(RISE, [slower])["temperature_rise_k"]
    assert told == pytest.approx(values(RISE, [plain])["temperature_rise_k"], abs=1e-4)


@QUICK
@given(seed=seeds, more=st.floats(0.0, 20.0))
def test_warmer_surroundings_lower_the_rise_kelvin_for_kelvin(seed, more):
    plain = cooling(seed)
    told = values(RISE | {"ambient_c": 25 + more}, [plain])["temperature_rise_k"]
    assert told == pytest.approx(values(RISE, [plain])["temperature_rise_k"] - more, abs=1e-9)


@QUICK
@given(seed=seeds, factor=factors, index=st.floats(1.1, 5.0))
def test_the_index_does_not_depend_on_the_unit_of_resistance(seed, factor, index):
    plain = synthesise_absorption(1500, index, Disturbance(noise=0.005, seed=seed))
    scaled = Recording(
        plain.time_s, {"insulation_resistance_mohm": factor * plain.channels["insulation_resistance_mohm"]}
    )
    step = {"kind": "insulation_resistance"}
    one, other = values(step, [plain]), values(step, [scaled])
    assert other["polarization_index"] == pytest.approx(one["polarization_index"], rel=1e-9)
    assert other["insulation_resistance_mohm"] == pytest.approx(factor * one["insulation_resistance_mohm"], rel=1e-9)


@QUICK
@given(
    resistance=st.floats(1e-6, 1e6), first=st.floats(-40, 200), second=st.floats(-40, 200), constant=st.floats(210, 260)
)
def test_a_correction_there_and_back_changes_nothing(resistance, first, second, constant):
    there = resistance_at(resistance, first, second, constant)
    assert resistance_at(there, second, first, constant) == pytest.approx(resistance, rel=1e-12)
    # a winding that only warmed up has the rise of its temperatures
    assert rise_by_resistance(there, resistance, first, first, constant) == pytest.approx(second - first, abs=1e-9)
    product = correction_by_halving(first, second) * correction_by_halving(second, first)
    assert product == pytest.approx(1.0, rel=1e-12)


@pytest.mark.parametrize("kind", TABLE)
@QUICK
@given(seed=seeds, data=st.data())
def test_the_order_of_rows_changes_nothing(kind, seed, data):
    how = {name: Disturbance(noise=1e-3 * exact, seed=seed) for name, exact in TABLE[kind].items() if name[0] in "rdci"}
    recording = synthesise_table(TABLE[kind], how, rows=6)
    order = data.draw(st.permutations(range(6)))
    mixed = Recording(recording.time_s, {name: column[list(order)] for name, column in recording.channels.items()})
    one, other = values(STEPS[kind], [recording]), values(STEPS[kind], [mixed])
    assert other.keys() == one.keys()
    assert all(other[name] == pytest.approx(one[name], rel=1e-9, abs=1e-15) for name in one)


@pytest.mark.parametrize("kind", TABLE)
@QUICK
@given(
    seed=seeds, exponent=st.integers(0, 2), limit=st.floats(0.5, 2.0), rule=st.sampled_from(["guard_band", "iso_14253"])
)
def test_a_tighter_limit_never_makes_a_unit_conform(kind, seed, exponent, limit, rule):
    channel = next(name for name in TABLE[kind] if name not in ("voltage_kv", "frequency_hz"))
    exact = TABLE[kind][channel]
    recording = synthesise_table(TABLE[kind], {channel: Disturbance(noise=1e-2 * exact, seed=seed)})
    setup = parse_setup({"instruments": [{"name": "a", "relative_uncertainty_pct": 1.0}]})

    def verdict(most):
        criteria = [{"quantity": channel, "max": most, "decision": rule}]
        return evaluate(STEPS[kind] | {"criteria": criteria}, [recording], setup).verdict

    loose, tight = verdict(limit * exact), verdict(limit * exact * 0.9**exponent)
    order = ["conforms", "inconclusive", "does_not_conform"]
    assert order.index(tight) >= order.index(loose)


UNITS = {
    "temperature_rise": {"resistance_ohm": ("Ω", "mΩ"), "time_s": ("s", "min")},
    "insulation_resistance": {"insulation_resistance_mohm": ("MΩ", "GΩ", "kΩ"), "time_s": ("s", "min")},
    "winding_resistance": {"resistance_ohm": ("Ω", "mΩ")},
    "capacitance": {"capacitance_uf": ("µF", "nF"), "voltage_kv": ("kV", "V")},
    "dissipation_factor": {"dissipation_factor": ("1", "%")},
    "inductance": {"inductance_mh": ("mH", "H"), "loss_w": ("W", "kW"), "current_a": ("A", "mA")},
}


@pytest.mark.parametrize("kind", UNITS)
@settings(QUICK, max_examples=8)
@given(seed=seeds, data=st.data())
def test_units_of_the_file_change_nothing(kind, seed, data):
    chosen = {name: data.draw(st.sampled_from(spellings)) for name, spellings in UNITS[kind].items()}
    if kind == "temperature_rise":
        step, recording = RISE, cooling(seed)
    elif kind == "insulation_resistance":
        step, recording = {"kind": kind}, synthesise_absorption(1500, 2.5, Disturbance(noise=0.005, seed=seed))
    else:
        step, recording = STEPS[kind], synthesise_table(TABLE[kind])
    with tempfile.TemporaryDirectory() as room:
        path = Path(room) / "record.csv"
        write_csv(path, recording, WrittenDialect(units=chosen, digits=15))
        read = read_record(path, wanted=WANTED_BY_KIND[kind])
    one, other = values(step, [recording]), values(step, [read])
    assert other.keys() == one.keys()
    assert all(other[name] == pytest.approx(one[name], rel=1e-7) for name in one)


odd = st.one_of(st.floats(), st.floats(0, 10), st.sampled_from([0.0, 1.0, 60.0]))
CHANNELS = {
    "winding_resistance": ("resistance_ohm", "temperature_c"),
    "insulation_resistance": ("insulation_resistance_mohm", "temperature_c", "voltage_kv"),
    "dissipation_factor": ("dissipation_factor", "capacitance_uf", "voltage_kv"),
    "capacitance": ("capacitance_uf", "voltage_kv"),
    "inductance": ("inductance_mh", "loss_w", "current_a", "frequency_hz", "temperature_c"),
    "temperature_rise": ("resistance_ohm", "ambient_c"),
}
ALL_STEPS = {
    **STEPS,
    "insulation_resistance": {"kind": "insulation_resistance", "reference_temperature_c": 40},
    "temperature_rise": {name: value for name, value in RISE.items() if name != "ambient_c"},
    "inductance": STEPS["inductance"]
    | {"material": "copper", "reference_temperature_c": 75, "dc_resistance_ohm": 0.1}
    | {"dc_resistance_temperature_c": 20, "rated_current_a": 10},
}


INSTRUMENT = {"name": "a", "relative_uncertainty_pct": 1.0}
SETUPS = [
    parse_setup(content)
    for content in (
        {},
        {"instruments": [INSTRUMENT, INSTRUMENT | {"quantity": "temperature", "expanded_uncertainty": 0.5}]},
        {"leakage_mohm": 1.0, "temperature_c": 20, "test_voltage_kv": 5, "voltage_applied_s": 30},
        {
            "leakage_mohm": 1e-12,
            "temperature_c": -199,
            "shutdown_s": 1e9,
            "ambient_c": -99,
            "cold_resistance_ohm": 1e-12,
        },
        {"shutdown_s": -1e12, "cold_temperature_c": -199, "capacitance_before_uf": 1e-12, "voltage_applied_s": -1e12},
        {"cold_temperature_c": 1e6, "ambient_c": 1e6, "temperature_c": 1e6, "capacitance_before_uf": 1e12},
    )
]


@pytest.mark.parametrize("kind", CHANNELS)
@settings(QUICK, max_examples=150)
@given(
    data=st.data(),
    rows=st.integers(0, 30),
    is_timed=st.booleans(),
    count=st.integers(1, 2),
    setup=st.sampled_from(SETUPS),
)
def test_no_arrays_raise_and_every_finding_has_a_reason(kind, data, rows, is_timed, count, setup):
    recordings = []
    for _ in range(count if kind in TABLE else 1):
        time_s = np.arange(rows) * 30.0 if is_timed else data.draw(arrays(float, rows, elements=odd))
        channels = {name: data.draw(arrays(float, rows, elements=odd)) for name in CHANNELS[kind]}
        recordings.append(Recording(time_s, channels))
    with np.errstate(all="ignore"):
        result = evaluate(ALL_STEPS[kind], recordings, setup)
    assert result.findings
    assert all(finding.reason for finding in result.findings)
    main = CHANNELS[kind][0]
    if any(not np.isfinite(one.channels[main]).all() for one in recordings):
        assert result.verdict == "not_valid"
    if kind == "winding_resistance" and any((one.channels[main] <= 0).any() for one in recordings):
        assert result.verdict == "not_valid"


def test_a_budget_that_names_no_instrument_says_so():
    result = evaluate({"kind": "capacitance"}, [synthesise_table({"capacitance_uf": 10.0})])
    said = "The set-up states no instrument for capacitance: its part is missing in the uncertainty."
    assert result.remarks == (said,)
