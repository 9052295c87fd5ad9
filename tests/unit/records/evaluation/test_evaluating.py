"""Odd arrays, parts of a record, thinning, writing, uncertainty: each with its reason."""

from __future__ import annotations

import hashlib
import json
from dataclasses import replace

import numpy as np
import pytest

from records.evaluation.evaluating import evaluate
from records.evaluation.findings import EVALUATION_VERSION
from records.evaluation.joining import RecordsDoNotJoin, join
from records.evaluation.measured import expanded, relative_standard_uncertainty, resolution_of
from records.evaluation.setups import Instrument, Setup
from records.evaluation.synthesis import Discharges, Hold, synthesise_discharge, synthesise_withstand
from records.evaluation.thinning import thin
from records.evaluation.writing import WrittenDialect, csv_text, write_csv
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
    "criteria": [{"quantity": "apparent_charge_pc", "stage": "measurement", "max": 100}],
}
GOOD = synthesise_withstand([Hold(30, 62)], seed=1)


def recording(time_s, voltage_kv, **channels):
    arrays = {"voltage_kv": np.asarray(voltage_kv, dtype=float)}
    return Recording(np.asarray(time_s, dtype=float), {**arrays, **channels})


@pytest.mark.parametrize(
    ("odd", "reason"),
    [
        (recording([], []), "The record has 0 samples"),
        (recording([0], [30]), "The record has 1 sample;"),
        (recording([0, 1, 2], [1, np.nan, 1]), "Sample 2 of the voltage is not a finite number"),
        (recording([0, 1, np.inf], [1, 1, 1]), "Sample 3 of the time is not a finite number"),
        (recording([0, 2, 1], [1, 1, 1]), "Time goes backwards at sample 3"),
        (recording([5, 5, 5], [1, 1, 1]), "All samples carry the same time"),
        (recording([0, 1, 2], [1, 1]), "The record's columns are not of one length"),
        (Recording(np.arange(3.0), {}), "The record has no voltage."),
        (recording(np.arange(400) / 1000, 30 * np.sin(np.arange(400) / 3)), "The voltage changes sign"),
    ],
)
def test_odd_arrays_are_not_valid_and_say_why(odd, reason):
    evaluation = evaluate(WITHSTAND, [odd])
    assert evaluation.verdict == "not_valid"
    assert evaluation.findings[0].reason.startswith(reason)
    assert evaluation.findings[0].reason.endswith("The unit was not judged.")
    json.dumps(evaluation.as_dict(), allow_nan=False)


@pytest.mark.parametrize("level", [0.0, 30.0, 1e6, 1e-300])
def test_a_constant_voltage_is_no_pass_without_time(level):
    evaluation = evaluate(WITHSTAND, [recording(np.arange(30), np.full(30, level))])
    assert evaluation.verdict == "not_valid"


def test_a_discharge_step_needs_charge():
    evaluation = evaluate(DISCHARGE, [GOOD])
    assert (evaluation.verdict, evaluation.findings[0].reason) == (
        "not_valid",
        "The record has no charge. The unit was not judged.",
    )


@pytest.mark.parametrize("step", [WITHSTAND, DISCHARGE])
def test_a_record_in_which_a_time_repeats_is_not_judged(step):
    quiet = np.random.default_rng(1).uniform(1, 2, GOOD.rows)
    whole = Recording(GOOD.time_s, {**GOOD.channels, "charge_pc": quiet})
    place = GOOD.rows // 2
    times = np.where(np.arange(GOOD.rows) == place, GOOD.time_s[place - 1], GOOD.time_s)
    evaluation = evaluate(step, [replace(whole, time_s=times)])
    assert evaluation.verdict == "not_valid"
    assert evaluation.findings[0].reason.startswith(f"Sample {place + 1} carries the same time as the one before it.")


@pytest.mark.parametrize(("step", "level"), [(WITHSTAND, 30.0), (DISCHARGE, 18.71)])
def test_a_voltage_that_never_moves_is_no_test(step, level):
    times = np.arange(400.0)
    charge = np.random.default_rng(1).uniform(1, 2, 400)
    single = {**step, "stages": [{**step["stages"][-1], "voltage_kv": level}]}
    evaluation = evaluate(single, [recording(times, np.full(400, level), charge_pc=charge)])
    assert evaluation.verdict == "not_valid"
    assert evaluation.findings[0].reason.startswith(f"Every one of the 400 samples of the voltage is {level:g}: ")


@pytest.mark.parametrize("factor", [1e300, 1e-300, 1e-16])  # of 1 to 100: the last is told by its steps alone
@pytest.mark.parametrize("kind", ["lightning_impulse", "frequency_response", "temperature_rise"])
def test_numbers_that_no_instrument_writes_are_told_and_not_computed_with(kind, factor):
    stages = {"stages": [{"name": "full", "voltage_kv": 100}]} if kind == "lightning_impulse" else {}
    axis = np.linspace(1.0, 100.0, 50)
    channels = {
        "lightning_impulse": {"voltage_kv": np.exp(-axis / 50)},
        "frequency_response": {"gain_db": -axis},
        "temperature_rise": {"resistance_ohm": np.exp(-axis / 50)},
    }[kind]
    swept = kind == "frequency_response"
    arrays = {**channels, "frequency_hz": axis * factor} if swept else channels
    odd = Recording(np.empty(0) if swept else axis * factor, arrays)
    evaluation = evaluate({"kind": kind, **stages}, [odd])
    name = "frequency" if swept else "time"
    assert evaluation.verdict == "not_valid"
    assert evaluation.findings[0].reason.startswith(f"The {name} holds numbers that no instrument writes.")


def test_the_answer_has_the_keys_of_the_contract():
    answer = evaluate(WITHSTAND, [GOOD]).as_dict()
    assert set(answer) >= {"verdict", "findings", "recording"}
    assert answer["recording"] == {"rows": GOOD.rows, "sha256": "", "duration_s": GOOD.duration_s}
    assert answer["evaluation_version"] == EVALUATION_VERSION
    keys = {"quantity", "value", "unit", "expanded_uncertainty", "coverage_factor", "min", "max", "decision"}
    keys |= {"probability_of_conformity", "judges", "verdict", "reason"}
    assert all(set(finding) >= keys for finding in answer["findings"])


def part(whole, start, stop, sha256):
    channels = {name: values[start:stop] for name, values in whole.channels.items()}
    return Recording(whole.time_s[start:stop], channels, {}, (f"part {sha256}",), sha256)


def test_parts_in_any_order_are_one_record():
    first, second = part(GOOD, 0, 400, "aa"), part(GOOD, 400, GOOD.rows, "bb")
    for parts in ([first, second], [second, first]):
        whole = join(parts)
        np.testing.assert_array_equal(whole.time_s, GOOD.time_s)
        np.testing.assert_array_equal(whole.channels["voltage_kv"], GOOD.channels["voltage_kv"])
        assert whole.sha256 == hashlib.sha256(b"aabb").hexdigest()
        assert whole.oddities == ("part aa", "part bb")
        assert evaluate(WITHSTAND, parts).verdict == "conforms"


@pytest.mark.parametrize(
    ("parts", "words"),
    [
        ([], "No record was given"),
        ([GOOD, GOOD], "they are not parts of one record"),
        ([part(GOOD, 0, 300, "a"), part(GOOD, 400, 500, "b")], "they are not parts of one record"),
        ([part(GOOD, 0, 300, "a"), Recording(np.array([]), {"voltage_kv": np.array([])})], "no samples"),
        ([GOOD, synthesise_discharge([Hold(1, 1)], None, seed=1)], "different channels"),
    ],
)
def test_what_does_not_join_is_refused(parts, words):
    with pytest.raises(RecordsDoNotJoin, match=words):
        join(parts)


def test_resolution_and_uncertainty_by_hand():
    assert resolution_of(np.arange(30) * 0.5) == 0.5
    assert resolution_of(np.array([1.0, 1.5, 3.0, 1.5])) == 0.1  # few values: what their decimals tell
    assert resolution_of(np.array([2.0, 250.0])) == 1.0
    assert resolution_of(np.array([2.0, 2.0])) == 0.0
    setup = Setup(instruments=(Instrument("a", 3, 2), Instrument("b", 4, 1, "charge"), Instrument("c", 1, 2, "time")))
    assert relative_standard_uncertainty(setup, "voltage") == pytest.approx(0.015)
    assert relative_standard_uncertainty(setup, "charge") == pytest.approx((0.015**2 + 0.04**2) ** 0.5)
    assert relative_standard_uncertainty(setup, "time") == pytest.approx(0.005)
    assert relative_standard_uncertainty(Setup(), "voltage") is None
    assert expanded(100.0, 0.03, 4.0) == pytest.approx(2 * 5.0)  # 3-4-5
    assert expanded(100.0, None, 4.0) is None


@pytest.mark.parametrize("points", [4, 5, 100, 999, 4000])
@pytest.mark.parametrize("rows", [1, 4, 5, 1000, 12_345])
def test_thinning_keeps_extremes_ends_and_its_size(points, rows):
    values = np.random.default_rng(rows).standard_normal(rows)
    time_s = np.arange(rows, dtype=float)
    thin_t, thin_v = thin(time_s, values, points)
    assert len(thin_t) == len(thin_v) <= points
    assert (thin_v.min(), thin_v.max()) == (values.min(), values.max())
    assert (thin_t[0], thin_t[-1]) == (time_s[0], time_s[-1])
    np.testing.assert_array_equal(values[thin_t.astype(int)], thin_v)


def test_no_single_spike_is_lost():
    time_s, quiet = np.arange(10_000.0), np.zeros(10_000)
    for place in np.random.default_rng(2).integers(0, 10_000, 50):
        spiked = quiet.copy()
        spiked[place] = -7.0
        thin_t, thin_v = thin(time_s, spiked, 200)
        assert thin_t[thin_v == -7.0].tolist() == [float(place)]


def test_a_window_shows_its_own_detail_and_one_neighbour_each_side():
    time_s = np.arange(1000.0)
    assert thin(time_s, time_s, 50, window=(100.5, 105.5))[0].tolist() == [100, 101, 102, 103, 104, 105, 106]
    assert len(thin(time_s, time_s, 50, window=(2000.0, 3000.0))[0]) <= 2


def test_thinning_refuses_what_it_cannot_do():
    with pytest.raises(ValueError, match="At least 4"):
        thin(np.arange(9.0), np.arange(9.0), 3)
    with pytest.raises(ValueError, match="differ in length"):
        thin(np.arange(9.0), np.arange(8.0), 10)


@pytest.mark.parametrize(
    "dialect",
    [
        None,
        WrittenDialect(";", ",", "utf-16", "\r\n", {"time_s": "ms", "voltage_kv": "V", "charge_pc": "nC"}),
        WrittenDialect("\t", ".", "latin-1", preamble=("# Bay: 2",), units={"time_s": "min"}, digits=17),
    ],
)
def test_what_is_written_is_read_back(dialect, tmp_path):
    made = synthesise_discharge([Hold(30, 5), Hold(18, 5)], Discharges(20, 15, 250), seed=4)
    write_csv(tmp_path / "record.csv", made, dialect)
    read = read_record(tmp_path / "record.csv", needed=("time_s", "voltage_kv", "charge_pc"))
    np.testing.assert_allclose(read.time_s, made.time_s, rtol=1e-8, atol=1e-12)
    for name, values in made.channels.items():
        np.testing.assert_allclose(read.channels[name], values, rtol=1e-8, atol=1e-12)


def test_an_open_stream_takes_the_same_text(tmp_path):
    made = synthesise_withstand([Hold(3, 1)], seed=4)
    with (tmp_path / "record.csv").open("w", encoding="utf-8", newline="") as stream:
        write_csv(stream, made)
    assert (tmp_path / "record.csv").read_text(encoding="utf-8") == csv_text(made)


def test_a_unit_that_is_none_is_refused():
    with pytest.raises(ValueError, match="“pC” is no unit of voltage_kv"):
        csv_text(GOOD, WrittenDialect(units={"voltage_kv": "pC"}))


def test_the_same_seed_gives_the_same_record():
    again = synthesise_withstand([Hold(30, 62)], seed=1)
    np.testing.assert_array_equal(again.channels["voltage_kv"], GOOD.channels["voltage_kv"])
