"""Lists of pulses and raw waves through the shell contract: files in, findings out."""

from __future__ import annotations

import json

import numpy as np
import pytest

from records.evaluation.shell import BadInput, evaluate_files
from records.evaluation.synthesis import Hold, PulseTrain, synthesise_pulses, synthesise_wave, synthesise_withstand
from records.evaluation.writing import write_csv
from records.readers.recording import Recording

HOLDS = [Hold(12, 8), Hold(8, 14)]
STEP = {
    "kind": "partial_discharge",
    "stages": [
        {"name": "prestress", "voltage_kv": 12, "hold_s": 6, "tolerance_pct": 3},
        {"name": "measurement", "voltage_kv": 8, "hold_s": 12, "tolerance_pct": 3},
    ],
    "threshold_pc": 10,
    "criteria": [{"quantity": "apparent_charge_pc", "stage": "measurement", "max": 100}],
}
WITHSTAND = {"kind": "power_frequency_withstand", "stages": [{"name": "withstand", "voltage_kv": 12, "hold_s": 10}]}


@pytest.fixture
def room(tmp_path, monkeypatch):
    """Return a directory with the files of these tests, as the working directory."""
    monkeypatch.chdir(tmp_path)
    listed = synthesise_pulses(HOLDS, [PulseTrain(2, 150, 0, 44), PulseTrain(250, 100, 14.5, 24.7)], seed=1)
    for name, channels in {
        "all": ("charge_pc", "phase_deg", "voltage_kv"),
        "phase": ("charge_pc", "phase_deg"),
    }.items():
        write_csv(f"{name}.csv", Recording(listed.time_s, {key: listed.channels[key] for key in channels}))
    write_csv("trend.csv", synthesise_withstand(HOLDS, seed=1))
    write_csv("wave.csv", synthesise_wave([Hold(12, 11)], seed=1, rate_hz=2000, noise_kv=0.01))
    gated = np.where(np.abs(listed.channels["charge_pc"]) > 100, 1.0, 0.0)
    table = np.column_stack((listed.time_s, listed.channels["charge_pc"], listed.channels["phase_deg"], gated))
    np.savetxt("gated.csv", table, delimiter=";", header="time_s;charge_pc;phase_deg;gated", comments="", fmt="%.9g")
    for name, content in {
        "step": STEP,
        "withstand": WITHSTAND,
        "setup": {"background_noise_pc": 2.0},
        "stages": {
            "background_noise_pc": 2.0,
            "tripped": False,
            "gating_reason": "Crane",
            "stages": [
                {"name": "prestress", "begin_s": 16, "end_s": 24},
                {"name": "measurement", "begin_s": 26, "end_s": 40},
            ],
        },
        "odd": {"stages": [{"name": "prestress", "begin_s": 24, "end_s": 16}]},
    }.items():
        (tmp_path / f"{name}.json").write_text(json.dumps(content), encoding="utf-8")
    return tmp_path


def value_of(evaluation, quantity):
    return next(finding.value for finding in evaluation.findings if finding.quantity == quantity)


def test_a_list_with_phase_and_voltage(room):
    evaluation = evaluate_files("step.json", ["all.csv"], setup="setup.json")
    assert evaluation.verdict == "conforms"
    assert value_of(evaluation, "inception_voltage_kv") == pytest.approx(9.0, abs=0.2)  # 14.5 s: 4.5 s at 2 kV/s
    assert not any("gaps in the samples" in remark for remark in evaluation.remarks)


@pytest.mark.parametrize("files", [["phase.csv", "trend.csv"], ["trend.csv", "phase.csv"]])
def test_a_list_with_phase_and_the_voltage_in_a_second_file(room, files):
    evaluation = evaluate_files("step.json", files, setup="setup.json")
    assert evaluation.verdict == "conforms"
    assert value_of(evaluation, "inception_voltage_kv") == pytest.approx(9.0, abs=0.05)


def test_a_list_with_phase_alone_is_inconclusive(room):
    assert evaluate_files("step.json", ["phase.csv"], setup="setup.json").verdict == "inconclusive"


def test_a_scale_factor_is_told_of_a_list_with_phase_alone(room):
    # it has no limit of its own and is told, not judged: 100 pC injected read 97.5
    (room / "calibrated.json").write_text(json.dumps({"charge_calibration": {"injected_pc": 100, "reading": 97.5}}))
    evaluation = evaluate_files("step.json", ["phase.csv"], setup="calibrated.json")
    assert value_of(evaluation, "charge_scale_factor") == pytest.approx(100 / 97.5)
    assert evaluation.verdict == "inconclusive"


def test_stages_and_gating_that_the_set_up_states(room):
    evaluation = evaluate_files("step.json", ["gated.csv"], setup="stages.json")
    assert evaluation.verdict == "conforms"
    assert any(remark.endswith("The set-up gives the reason: Crane.") for remark in evaluation.remarks)


def test_a_voltage_alone_is_no_discharge_record(room):
    with pytest.raises(BadInput, match="no column for the charge"):
        evaluate_files("step.json", ["trend.csv"], setup="setup.json")


def test_odd_stages_are_refused_with_their_place(room):
    with pytest.raises(BadInput, match=r"odd.json: stages\[0\].end_s: 16 must be above 24"):
        evaluate_files("step.json", ["phase.csv"], setup="odd.json")


def test_a_raw_wave(room):
    evaluation = evaluate_files("withstand.json", ["wave.csv"])
    assert evaluation.verdict == "conforms"
    assert value_of(evaluation, "held_voltage_kv") == pytest.approx(12.0, rel=1e-3)
    assert value_of(evaluation, "frequency_hz") == pytest.approx(50.0, abs=0.01)
    assert json.loads(json.dumps(evaluation.as_dict(), allow_nan=False))["details"]["trend"]["time_s"]
