"""`manage.py evaluate`: exit status, findings on standard output, one line on standard error."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from records.evaluation.shell import STATUS, BadInput, evaluate_files
from records.evaluation.synthesis import Discharges, Hold, synthesise_discharge, synthesise_withstand
from records.evaluation.writing import WrittenDialect, write_csv

ROOT = Path(__file__).resolve().parents[3]
WITHSTAND = {
    "kind": "power_frequency_withstand",
    "title": "Withstand",
    "procedure": {
        "stages": [{"name": "withstand", "voltage_kv": 30, "hold_s": 60, "tolerance_pct": 3}],
        "criteria": [],
    },
}
DISCHARGE = {
    "kind": "partial_discharge",
    "title": "Discharge",
    "procedure": {
        "stages": [
            {"name": "prestress", "voltage_kv": 30.0, "hold_s": 60, "tolerance_pct": 3},
            {"name": "measurement", "voltage_kv": 18.71, "hold_s": 120, "tolerance_pct": 3},
        ],
        "threshold_pc": 10,
        "criteria": [
            {"quantity": "apparent_charge_pc", "stage": "measurement", "max": 100, "decision": "simple_acceptance",
             "judges": "unit"}
        ],
    },
}  # fmt: skip
SETUP = {
    "background_noise_pc": 4.0,
    "charge_calibration": {"injected_pc": 100, "reading": 97.5},
    "instruments": [{"name": "detector", "relative_uncertainty_pct": 3, "coverage_factor": 2}],
}
HOLDS = [Hold(30, 62), Hold(18.71, 122)]


@pytest.fixture
def room(tmp_path):
    (tmp_path / "withstand.json").write_text(json.dumps(WITHSTAND), encoding="utf-8")
    (tmp_path / "discharge.json").write_text(json.dumps(DISCHARGE), encoding="utf-8")
    (tmp_path / "setup.json").write_text(json.dumps(SETUP), encoding="utf-8")
    write_csv(tmp_path / "good.csv", synthesise_withstand([Hold(30, 62)], seed=1))
    write_csv(tmp_path / "short.csv", synthesise_withstand([Hold(28.4, 52)], seed=1))
    write_csv(tmp_path / "flashover.csv", synthesise_withstand([Hold(30, 62)], seed=1, collapse_at_s=50))
    write_csv(tmp_path / "quiet.csv", synthesise_discharge(HOLDS, Discharges(24, 20, 250), seed=2))
    write_csv(tmp_path / "burning.csv", synthesise_discharge(HOLDS, Discharges(24, 15, 250), seed=2))
    return tmp_path


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


@pytest.mark.parametrize(
    ("arguments", "status", "verdict"),
    [
        (("withstand.json", "good.csv"), 0, "conforms"),
        (("withstand.json", "flashover.csv"), 1, "does_not_conform"),
        (("withstand.json", "short.csv"), 3, "not_valid"),
        (("discharge.json", "burning.csv", "--setup", "setup.json"), 1, "does_not_conform"),
    ],
)
def test_status_and_findings_without_a_database(room, arguments, status, verdict):
    done = run(room, *arguments)
    assert (done.returncode, done.stderr) == (status, "")
    answer = json.loads(done.stdout)
    assert answer["verdict"] == verdict
    assert answer["recording"]["rows"] > 100
    assert len(answer["recording"]["sha256"]) == 64


def test_bad_input_is_one_line_and_nothing_on_standard_output(room):
    (room / "text.csv").write_text("time_s,voltage_kv\n0,1\n1,OVL\n2,3\n", encoding="utf-8")
    done = run(room, "withstand.json", "text.csv")
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == (
        "text.csv: Row 3: the column “voltage_kv” holds the text “OVL” where a number must be. "
        "Correct or remove the row.\n"
    )


def test_every_verdict_has_its_status():
    assert STATUS == {"conforms": 0, "does_not_conform": 1, "inconclusive": 3, "not_valid": 3}


def test_the_reason_is_in_plain_words_with_numbers(room, monkeypatch):
    monkeypatch.chdir(room)
    found = evaluate_files("withstand.json", ["short.csv"]).findings
    finding = next(row for row in found if row.quantity == "held_s")
    assert finding.reason == (
        "The record shows 28.4 kV for 53.700 s; the plan asks 30 kV ± 3 % for 60 s. The stage “withstand” was never "
        "reached. The unit was not judged."
    )


def test_the_set_up_is_used(room, monkeypatch):
    monkeypatch.chdir(room)
    plain = {f.quantity: f for f in evaluate_files("discharge.json", ["burning.csv"]).findings}
    scaled = {f.quantity: f for f in evaluate_files("discharge.json", ["burning.csv"], setup="setup.json").findings}
    ratio = scaled["apparent_charge_pc"].value / plain["apparent_charge_pc"].value
    assert ratio == pytest.approx(100 / 97.5)
    assert scaled["background_noise_pc"].value == 4.0
    assert plain["apparent_charge_pc"].expanded_uncertainty is None
    assert scaled["apparent_charge_pc"].expanded_uncertainty == pytest.approx(
        0.03 * scaled["apparent_charge_pc"].value, rel=1e-3
    )


def test_columns_are_mapped(room, monkeypatch):
    monkeypatch.chdir(room)
    heads = {"time_s": "T", "voltage_kv": "CH1"}
    write_csv("mapped.csv", synthesise_withstand([Hold(30, 62)], seed=1), WrittenDialect(heads=heads))
    text = Path("mapped.csv").read_text(encoding="utf-8").replace("T (s),CH1 (kV)", "T,CH1")
    Path("mapped.csv").write_text(text, encoding="utf-8")
    with pytest.raises(
        BadInput,
        match=r"mapped\.csv: row 1: The heads do not tell .* such as \{\"time_s\": \{\"column\": \"T\", ",
    ):
        evaluate_files("withstand.json", ["mapped.csv"])
    Path("columns.json").write_text('{"time_s": "T", "voltage_kv": {"column": "CH1", "unit": "kV"}}', encoding="utf-8")
    assert evaluate_files("withstand.json", ["mapped.csv"], columns="columns.json").verdict == "conforms"


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("step.json", b"", r"step\.json: line 1, column 1: not valid JSON"),
        ("step.json", b'{"kind": }', r"step\.json: line 1, column 10: not valid JSON"),
        ("step.json", b'{"kind": "x"}', r"step\.json: kind: “x” cannot be evaluated"),
        ("step.json", b"\xff\xff", r"step\.json: byte 0: not UTF-8"),
        ("step.json", b"[" * 100_000, r"step\.json: "),
        (
            "step.json",
            b'{"kind": "partial_discharge", "stages": [{"name": "a", "voltage_kv": NaN}]}',
            "NaN is not a number",
        ),
        ("other.json", b"{}", r"step\.json: cannot be read \(No such file or directory\)"),
    ],
)
def test_a_bad_step_file(name, content, words, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    Path(name).write_bytes(content)
    with pytest.raises(BadInput, match=words) as caught:
        evaluate_files("step.json", ["none.csv"])
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("setup", "columns", "words"),
    [
        ('{"background_noise_pc": "loud"}', None, r"setup\.json: background_noise_pc: “loud” is not"),
        ("{", None, r"setup\.json: line 1"),
        (None, '{"volts": "A"}', r"columns\.json: “volts” is not a channel"),
    ],
)
def test_bad_side_files(setup, columns, words, room, monkeypatch):
    monkeypatch.chdir(room)
    for name, text in (("setup.json", setup), ("columns.json", columns)):
        if text is not None:
            Path(name).write_text(text, encoding="utf-8")
    with pytest.raises(BadInput, match=words):
        evaluate_files("withstand.json", ["good.csv"], setup="setup.json", columns="columns.json" if columns else None)


def test_records_that_are_not_there_or_do_not_join(room, monkeypatch):
    monkeypatch.chdir(room)
    with pytest.raises(BadInput, match=r"none\.csv: cannot be read"):
        evaluate_files("withstand.json", ["none.csv"])
    with pytest.raises(BadInput, match=r"\.: cannot be read"):
        evaluate_files("withstand.json", ["."])
    with pytest.raises(BadInput, match=r"good\.csv, short\.csv: “good\.csv” ends at 107 s and “short\.csv” begins at"):
        evaluate_files("withstand.json", ["good.csv", "short.csv"])


def test_a_step_with_a_mark_before_it_is_read(room, monkeypatch):
    monkeypatch.chdir(room)
    Path("marked.json").write_text(json.dumps(WITHSTAND), encoding="utf-8-sig")
    assert evaluate_files("marked.json", ["good.csv"]).verdict == "conforms"
