"""`manage.py evaluate` for impulses and sweeps: files in, findings and exit status out."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from records.evaluation.impulse.synthesis import Disturbance, synthesise_impulse, wave_with_crest
from records.evaluation.shell import STATUS, BadInput, evaluate_files
from records.evaluation.sweep.synthesis import SeriesBranch, impedance_of, synthesise_sweep
from records.evaluation.writing import WrittenDialect, write_csv

ROOT = Path(__file__).resolve().parents[3]
FULL = {"name": "full", "voltage_kv": 125, "tolerance_pct": 3, "polarity": "negative"}
IMPULSE = {
    "kind": "lightning_impulse",
    "procedure": {
        "stages": [FULL],
        "criteria": [{"quantity": "front_time_us", "min": 0.84, "max": 1.56, "judges": "test"}],
    },
}
SWEEP = {
    "kind": "frequency_response",
    "procedure": {
        "frequency_hz": 60,
        "criteria": [{"quantity": "tuned_order", "nominal": 4.7, "tolerance_pct": 2, "judges": "unit"}],
    },
}
SETUP = {"instruments": [{"name": "recorder", "relative_uncertainty_pct": 3, "coverage_factor": 2}]}
TUNED, DETUNED = SeriesBranch.tuned(282.5, 60, 6.37), SeriesBranch.tuned(320, 60, 6.37)


def impulse(crest_kv=-125.0, seed=1, **options):
    noise = Disturbance(noise=0.003, bits=12)
    return synthesise_impulse(wave_with_crest(crest_kv), seed=seed, interval_us=0.02, disturbance=noise, **options)


@pytest.fixture
def files(tmp_path):
    """Return a function that writes a step and records and gives their paths."""

    def write(step, *records, dialect=None):
        (tmp_path / "step.json").write_text(json.dumps(step))
        (tmp_path / "setup.json").write_text(json.dumps(SETUP))
        names = []
        for number, record in enumerate(records):
            names.append(str(tmp_path / f"record{number}.csv"))
            write_csv(names[-1], record, dialect)
        return str(tmp_path / "step.json"), names, str(tmp_path / "setup.json")

    return write


def run(step, records, setup):
    """Return exit status, standard output and standard error of the command itself."""
    command = [sys.executable, "manage.py", "evaluate", step, *records, "--setup", setup]
    environment = {**os.environ, "DATABASE_URL": "postgresql://nobody@127.0.0.1:1/none"}
    result = subprocess.run(
        command, cwd=ROOT, env=environment, capture_output=True, text=True, timeout=120, check=False
    )
    return result.returncode, result.stdout, result.stderr


def test_a_sequence_of_impulses_from_files_without_a_database(files):
    step = {**IMPULSE, "acceptance": "three"}
    status, out, err = run(*files(step, *(impulse(seed=seed) for seed in range(3))))
    assert (status, err) == (0, "")
    answer = json.loads(out)
    assert answer["verdict"] == "conforms"
    assert answer["recording"]["rows"] == 15_000
    front = next(row for row in answer["findings"] if row["quantity"] == "front_time_us")
    assert front["value"] == pytest.approx(1.2, rel=0.02)
    assert {"min", "max", "unit", "decision", "judges", "reason"} <= set(front)


@pytest.mark.parametrize(
    ("records", "status"),
    [
        ([impulse()], 0),
        ([impulse(chopped_after_us=8.0)], 1),
        ([impulse(-110.0)], 3),
        ([impulse(125.0)], 3),
        ([impulse(duration_us=30.0)], 3),
    ],
)
def test_exit_status_of_impulses(files, records, status):
    step, names, setup = files(IMPULSE, *records)
    assert STATUS[evaluate_files(step, names, setup=setup).verdict] == status


def test_a_short_sequence_exits_with_3(files):
    step, names, setup = files({**IMPULSE, "acceptance": "fifteen"}, impulse())
    assert evaluate_files(step, names, setup=setup).verdict == "inconclusive"


def test_the_same_impulse_in_another_dialect(files):
    dialect = WrittenDialect(";", ",", units={"time_s": "us", "voltage_kv": "V"}, digits=12)
    step, names, setup = files(IMPULSE, impulse(), dialect=dialect)
    found = evaluate_files(step, names, setup=setup)
    plain = evaluate_files(*files(IMPULSE, impulse())[:2])
    values = [[row.value for row in evaluation.findings] for evaluation in (found, plain)]
    assert values[0] == pytest.approx(values[1], rel=1e-6)


def test_a_sweep_from_a_file(files):
    status, out, err = run(*files(SWEEP, synthesise_sweep([TUNED], seed=1, points=500, noise_db=0.05)))
    assert (status, err) == (0, "")
    answer = json.loads(out)
    order = next(row for row in answer["findings"] if row["quantity"] == "tuned_order")
    assert order["value"] == pytest.approx(282.5 / 60, rel=1e-3)
    assert (order["min"], order["max"]) == pytest.approx((4.606, 4.794))


@pytest.mark.parametrize("is_complex", [True, False])
@pytest.mark.parametrize(("branch", "status"), [(TUNED, 0), (DETUNED, 1)])
def test_exit_status_of_sweeps(files, branch, status, is_complex):
    record = synthesise_sweep([branch], seed=1, points=500, is_complex=is_complex)
    step, names, setup = files(SWEEP, record)
    assert STATUS[evaluate_files(step, names, setup=setup).verdict] == status


def test_a_touchstone_file_of_one_port(tmp_path, files):
    """Reflections against 50 Ω as an analyser writes them (Touchstone 1, real and imaginary)."""
    frequency = np.geomspace(50, 5000, 400)
    impedance = impedance_of(frequency, [TUNED])
    reflection = (impedance - 50) / (impedance + 50)
    rows = [f"{f:.9g} {one.real:.12g} {one.imag:.12g}" for f, one in zip(frequency, reflection, strict=True)]
    (tmp_path / "sweep.s1p").write_text("! one port\n# HZ S RI R 50\n" + "\n".join(rows) + "\n")
    step, _, setup = files(SWEEP)
    evaluation = evaluate_files(step, [str(tmp_path / "sweep.s1p")], setup=setup)
    assert evaluation.verdict == "conforms"
    found = next(row for row in evaluation.findings if row.quantity == "inductance_mh")
    assert found.value == pytest.approx(6.37, rel=1e-4)


@pytest.mark.parametrize(
    ("step", "record", "words"),
    [
        ({**IMPULSE, "procedure": {}}, impulse(), "stages: at least one is needed, with name and voltage_kv"),
        ({**IMPULSE, "acceptance": "four"}, impulse(), "acceptance: “four” must be one of three"),
        ({**IMPULSE, "rounds": [{"impulses": 3}]}, impulse(), r"rounds[0].accept: is missing"),
        (
            {**SWEEP, "compare": "twins"},
            synthesise_sweep([TUNED], seed=1, points=50),
            "compare: “twins” must be one of",
        ),
        (SWEEP, impulse(), "frequency"),
    ],
)
def test_bad_input_is_one_line_that_names_the_place(files, step, record, words):
    path, names, setup = files(step, record)
    with pytest.raises(BadInput) as refusal:
        evaluate_files(path, names, setup=setup)
    assert words in str(refusal.value)
    assert "\n" not in str(refusal.value)
