"""`manage.py evaluate` for resistance, insulation, losses and heating: files in, findings and exit status out."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from records.evaluation.evaluating import evaluate
from records.evaluation.shell import STATUS, BadInput, evaluate_files
from records.evaluation.slow_synthesis import (
    Disturbance,
    Winding,
    synthesise_absorption,
    synthesise_cooling,
    synthesise_table,
)
from records.evaluation.writing import WrittenDialect, write_csv
from schedules.rules import derive_plan

ROOT = Path(__file__).resolve().parents[3]
RISE = {"material": "copper", "cold_resistance_ohm": 0.421, "cold_temperature_c": 22.5, "shutdown_s": 0}
SETUP = {
    "instruments": [
        {"name": "meter", "relative_uncertainty_pct": 0.2},
        {"name": "thermometer", "quantity": "temperature", "expanded_uncertainty": 0.4},
    ]
}
# kind: keys of the step, the criterion that good and bad records are judged by, the record
CASES = {
    "winding_resistance": (
        {"material": "copper", "reference_temperature_c": 75},
        ({"quantity": "resistance_at_reference_ohm", "max": 0.52}, {"max": 0.50}),
        synthesise_table({"resistance_ohm": 0.421, "temperature_c": 22.5}),
    ),
    "insulation_resistance": (
        {},
        ({"quantity": "polarization_index", "min": 2.0}, {"min": 3.0}),
        synthesise_absorption(1500, 2.8, Disturbance(noise=0.005)),
    ),
    "dissipation_factor": (
        {"stages": [{"name": "rated", "voltage_kv": 7.2}]},
        ({"quantity": "dissipation_factor", "max": 5e-4}, {"max": 5e-5}),
        synthesise_table({"voltage_kv": 7.2, "dissipation_factor": 1e-4, "capacitance_uf": 10.0}),
    ),
    "capacitance": (
        {"series_elements": 8},
        ({"quantity": "capacitance_uf", "nominal": 10.0, "tolerance_pct": 5}, {"nominal": 11.0}),
        synthesise_table({"voltage_kv": 7.2, "capacitance_uf": 10.1}),
    ),
    "inductance": (
        {"frequency_hz": 60},
        ({"quantity": "inductance_mh", "nominal": 5.0, "tolerance_pct": 3}, {"nominal": 6.0}),
        synthesise_table({"frequency_hz": 60.0, "inductance_mh": 5.05, "loss_w": 250.0, "current_a": 50.0}),
    ),
    "temperature_rise": (
        RISE,
        ({"quantity": "temperature_rise_k", "max": 80, "decision": "guard_band"}, {"max": 60}),
        synthesise_cooling(Winding(), Disturbance(noise=2e-5, step=1e-5), ambient_c=25.0),
    ),
}
each_kind = pytest.mark.parametrize("kind", CASES)


def written(room, kind, *, is_good):
    keys, (good, bad), record = CASES[kind]
    criterion = good if is_good else good | bad
    step = {"kind": kind, "title": kind, "procedure": {**keys, "criteria": [criterion]}}
    (room / "step.json").write_text(json.dumps(step), encoding="utf-8")
    (room / "setup.json").write_text(json.dumps(SETUP), encoding="utf-8")
    write_csv(room / "record.csv", record)
    return criterion["quantity"]


def run(room, *arguments):
    return subprocess.run(
        [sys.executable, str(ROOT / "manage.py"), "evaluate", *arguments],
        cwd=room,
        capture_output=True,
        text=True,
        encoding="utf-8",
        env={**os.environ, "PYTHONIOENCODING": "utf-8", "DATABASE_URL": "sqlite:////nowhere/at/all.sqlite3"},
        check=False,
    )


@each_kind
def test_a_good_record_conforms_with_its_uncertainty(kind, tmp_path):
    quantity = written(tmp_path, kind, is_good=True)
    done = run(tmp_path, "step.json", "record.csv", "--setup", "setup.json")
    assert (done.returncode, done.stderr) == (0, "")
    answer = json.loads(done.stdout)
    finding = next(row for row in answer["findings"] if row["quantity"] == quantity)
    assert (answer["verdict"], finding["verdict"]) == ("conforms", "conforms")
    assert finding["expanded_uncertainty"] > 0
    assert finding["probability_of_conformity"] > 0.99
    assert answer["recording"]["rows"] == CASES[kind][2].rows


@each_kind
def test_a_bad_unit_does_not_conform(kind, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    quantity = written(tmp_path, kind, is_good=False)
    result = evaluate_files("step.json", ["record.csv"], setup="setup.json")
    finding = next(row for row in result.findings if row.quantity == quantity)
    assert (STATUS[result.verdict], finding.verdict) == (1, "does_not_conform")
    assert "beyond the limit" in finding.reason


def test_two_records_are_before_and_after(tmp_path):
    step = {"kind": "capacitance", "series_elements": 11}
    (tmp_path / "step.json").write_text(json.dumps(step), encoding="utf-8")
    write_csv(tmp_path / "before.csv", synthesise_table({"voltage_kv": 7.2, "capacitance_uf": 10.0}))
    write_csv(tmp_path / "after.csv", synthesise_table({"voltage_kv": 7.2, "capacitance_uf": 11.0}))
    done = run(tmp_path, "step.json", "before.csv", "after.csv")
    assert done.returncode == 1
    change = next(row for row in json.loads(done.stdout)["findings"] if row["quantity"] == "capacitance_change_pct")
    assert change["value"] == pytest.approx(10.0)
    assert "One element's share is 10 %" in change["reason"]


def test_a_record_cut_off_is_not_valid(tmp_path):
    written(tmp_path, "insulation_resistance", is_good=True)
    write_csv(tmp_path / "record.csv", synthesise_absorption(1500, 2.8, last_s=300.0))
    done = run(tmp_path, "step.json", "record.csv")
    assert done.returncode == 3
    assert json.loads(done.stdout)["verdict"] == "not_valid"


def test_bad_input_is_one_line(tmp_path):
    written(tmp_path, "winding_resistance", is_good=True)
    (tmp_path / "step.json").write_text('{"kind": "winding_resistance", "material": "gold"}', encoding="utf-8")
    done = run(tmp_path, "step.json", "record.csv")
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == "step.json: material: “gold” must be one of copper, copper_ieee, aluminium.\n"
    (tmp_path / "setup.json").write_text('{"leakage_mohm": -1}', encoding="utf-8")
    (tmp_path / "step.json").write_text('{"kind": "winding_resistance"}', encoding="utf-8")
    names = [str(tmp_path / name) for name in ("step.json", "record.csv", "setup.json")]
    with pytest.raises(BadInput, match=r"setup\.json: leakage_mohm: -1 must be above 0"):
        evaluate_files(names[0], names[1:2], setup=names[2])


def test_heads_and_units_of_the_trade_are_read(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    quantity = written(tmp_path, "winding_resistance", is_good=True)
    german = WrittenDialect(separator=";", decimal=",", units={"resistance_ohm": "mΩ"})
    write_csv(tmp_path / "record.csv", CASES["winding_resistance"][2], german)
    result = evaluate_files("step.json", ["record.csv"], setup="setup.json")
    finding = next(row for row in result.findings if row.quantity == quantity)
    assert finding.value == pytest.approx(0.4210 * 310 / 257.5)


def test_a_derived_step_is_evaluated_as_it_stands():
    ratings = {
        "equipment": "series_reactor",
        "highest_voltage_kv": 15,
        "lightning_impulse_kv": 95,
        "frequency_hz": 60,
        "phases": 3,
        "inductance_mh": 5,
        "inductance_tolerance_pct": 3,
        "winding_material": "copper",
        "standards": ["IEEE C57.16"],
    }
    steps = {step["title"]: step for step in derive_plan(ratings).as_dict()["steps"]}
    table = synthesise_table({"resistance_ohm": 0.4210, "temperature_c": 22.5})
    winding = evaluate(steps["Winding resistance"], [table])
    found = {finding.quantity: finding.value for finding in winding.findings}
    # the IEEE constant of 234.5 °C and 75 °C come from the rule pack: 0.4210 · 309.5/257
    assert found["resistance_at_reference_ohm"] == pytest.approx(0.4210 * 309.5 / 257)
    inductance = evaluate(
        steps["Inductance at rated frequency"], [synthesise_table({"frequency_hz": 60.0, "inductance_mh": 5.2})]
    )
    assert inductance.verdict == "does_not_conform"  # 5.2 mH is 4 % off, and 3 % are allowed


def test_files_are_called_as_they_were_given_on_the_command_line(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    written(tmp_path, "winding_resistance", is_good=True)
    Path("phases").mkdir()
    for name, ohm in (("phases/a.csv", 0.421), ("phases/b.csv", 0.425)):
        write_csv(Path(name), synthesise_table({"resistance_ohm": ohm, "temperature_c": 22.5}))
    found = evaluate_files("step.json", ["phases/a.csv", "phases/b.csv"]).findings
    reasons = {finding.quantity: finding.reason for finding in found}
    assert reasons["resistance_at_reference_ohm"].startswith("“phases/b.csv”: ")
    at_20 = [ohm * 255 / 257.5 for ohm in (0.421, 0.425)]  # copper, from 22.5 °C
    assert f"“phases/a.csv” {at_20[0]:.6g}, “phases/b.csv” {at_20[1]:.6g} Ω" in reasons["resistance_unbalance_pct"]
    alone = evaluate_files("step.json", ["phases/a.csv"]).findings
    assert not any("phases" in finding.reason for finding in alone)
