"""The shell contract of ``manage.py derive``: what goes to stdout, to stderr, and the exit status."""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from schedules.management.commands.derive import Command
from schedules.rules.packs import SHIPPED

HOUSE = Path(__file__).parents[3]
RATINGS = {"equipment": "series_reactor", "highest_voltage_kv": 15.5, "lightning_impulse_kv": 110}


def run(capsys, path, *options) -> tuple[int, str, str]:
    status = 0
    try:
        Command().run_from_argv(["manage.py", "derive", str(path), *map(str, options)])
    except SystemExit as end:
        status = end.code
    out, err = capsys.readouterr()
    return status, out, err


@pytest.mark.parametrize("mark", ["", "\ufeff"])
def test_plan_goes_to_stdout(tmp_path, capsys, mark):
    path = tmp_path / "ratings.json"
    path.write_text(mark + json.dumps(RATINGS), encoding="utf-8")
    status, out, err = run(capsys, path)
    assert (status, err) == (0, "")
    stages = json.loads(out)["steps"][1]["procedure"]["stages"]
    assert [stage["voltage_kv"] for stage in stages] == [25.0, 10.74]


def test_standard_input(capsys, monkeypatch):
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(json.dumps(RATINGS).encode())))
    status, out, err = run(capsys, "-")
    assert (status, err, json.loads(out)["ratings"]["power_frequency_kv"]) == (0, "", 50.0)


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "line 1, column 1: is not JSON (Expecting value); mend the text there."),
        (b"{", "line 1, column 2: is not JSON"),
        (b"\xff\xfe\x00", "byte 0: is not UTF-8 text; save it as UTF-8."),
        (b"[]", 'ratings: is not an object; write {"equipment": …, "highest_voltage_kv": …}.'),
        (b'"text"', "ratings: is not an object"),
        (b"null", "ratings: is not an object"),
        (b'{"highest_voltage_kv": NaN}', "the file: NaN is not a JSON number; write a finite number."),
        (b'{"highest_voltage_kv": -Infinity}', "the file: -Infinity is not a JSON number"),
        (b'{"highest_voltage_kv": 1e999, "equipment": "bushing"}', "highest_voltage_kv: is not a finite number"),
        (b'{"phases": 1, "phases": 3}', "phases: stands twice; keep one of the two."),
        (b"[" * 100_000, "the file: is nested too deep; write a flat object."),
        (b'{"phases": ' + b"9" * 5000 + b"}", "the file: holds a number with too many digits; shorten it."),
        (b" " * 1_000_001, "the file: is larger than 1000000 bytes; ratings are one small object."),
        (b"{}", "equipment: is missing; give one of series_reactor, "),
        (b'{"equipment": "series_reactor"}', "highest_voltage_kv: is missing; give the highest voltage in kV"),
        (b'{"Highest_voltage_kv": 15}', "is not a known rating; did you mean highest_voltage_kv?\n"),
        (
            b'{"equipment": "bushing", "highest_voltage_kv": 24, "tests": []}',
            "tests: names no class of test; give some of routine, type, special, or leave it out.",
        ),
        (b'{"equipment": "a\\nb", "highest_voltage_kv": 5}', "equipment: 'a\\nb' is not one of its choices"),
        (b'{"a\\nb": 1}', "a b: is not a known rating"),
        (b'{"\\ud800": 1}', "is not a known rating"),
    ],
)
def test_bad_input_is_one_line_on_stderr(tmp_path, capsys, content, message):
    path = tmp_path / "ratings.json"
    path.write_bytes(content)
    status, out, err = run(capsys, path)
    assert (status, out, err.count("\n")) == (2, "", 1)
    assert err.startswith(f"{path}: ")
    assert message in err


@pytest.mark.parametrize("name", ["none.json", "", "a\0b"])
def test_no_readable_file(tmp_path, capsys, name):
    status, out, err = run(capsys, f"{tmp_path}/{name}")
    assert (status, out, err.count("\n")) == (2, "", 1)
    assert err.endswith("; give a readable file.\n")


def test_needs_no_database_and_no_checks():
    assert Command.requires_system_checks == []
    assert Command.requires_migrations_checks is False


def test_as_a_process(tmp_path):
    path = tmp_path / "ratings.json"
    path.write_text(json.dumps(RATINGS), encoding="utf-8")
    environment = os.environ | {"PYTHONDONTWRITEBYTECODE": "1", "PYTHONIOENCODING": "ascii"}
    command = [sys.executable, "manage.py", "derive"]
    good = subprocess.run([*command, str(path)], cwd=HOUSE, env=environment, capture_output=True, check=False)
    assert (good.returncode, good.stderr) == (0, b"")
    assert json.loads(good.stdout)["ratings"]["power_frequency_kv"] == 50.0
    bad = subprocess.run([*command, str(tmp_path)], cwd=HOUSE, env=environment, capture_output=True, check=False)
    assert (bad.returncode, bad.stdout, bad.stderr.count(b"\n")) == (2, b"", 1)


def test_a_pack_of_ones_own_beside_the_shipped(tmp_path, capsys):
    shipped = (SHIPPED / "agreed_discharge_practice.toml").read_text(encoding="utf-8")
    own = tmp_path / "works.toml"
    own.write_text(shipped.replace('document = "Agreed discharge practice"', 'document = "Works practice 7"'))
    ratings = tmp_path / "ratings.json"
    ratings.write_text(
        json.dumps({"equipment": "series_reactor", "highest_voltage_kv": 15.5, "standards": ["Works practice 7"]})
    )
    status, out, _ = run(capsys, ratings, "--pack", own)
    assert status == 0
    assert {pack["name"] for pack in json.loads(out)["packs"]} == {"series_reactor_levels", "works"}


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ("format = 1", "works.toml: source: is missing; add source"),
        ("x", "works.toml: file: is not TOML"),
        (None, "cannot be read"),
    ],
)
def test_a_pack_that_cannot_be_used_is_refused_in_one_line(tmp_path, capsys, content, words):
    own = tmp_path / "works.toml"
    if content is not None:
        own.write_text(content)
    ratings = tmp_path / "ratings.json"
    ratings.write_text("{}")
    status, out, err = run(capsys, ratings, "--pack", own)
    assert (status, out, err.count("\n")) == (2, "", 1)
    assert words in err
