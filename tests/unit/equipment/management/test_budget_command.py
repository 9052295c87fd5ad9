"""The shell contract of ``manage.py budget``: what goes to stdout, to stderr, and the exit status."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from equipment.management.commands.budget import Command, statement_of
from equipment.metrology.inputs import BudgetError

HOUSE = Path(__file__).parents[4]
SUM = {
    "model": "a + b",
    "inputs": [
        {"name": "a", "value": 1, "standard_uncertainty": 3},
        {"name": "b", "value": 2, "standard_uncertainty": 4},
    ],
}


def run(capsys, path) -> tuple[int, str, str]:
    command = Command()
    status = 0
    try:
        command.run_from_argv(["manage.py", "budget", str(path)])
    except SystemExit as end:
        status = end.code
    out, err = capsys.readouterr()
    return status, out, err


def test_statement_goes_to_stdout(tmp_path, capsys):
    path = tmp_path / "budget.json"
    path.write_text("\ufeff" + json.dumps(SUM), encoding="utf-8")
    status, out, err = run(capsys, path)
    answer = json.loads(out)
    assert (status, err) == (0, "")
    assert (answer["value"], answer["standard_uncertainty"]) == (3.0, 5.0)


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "line 1, column 1: is not JSON (Expecting value); mend the text there."),
        (b"{", "line 1, column 2: is not JSON"),
        (b"\xff\xfe\x00", "byte 0: is not UTF-8 text; save it as UTF-8."),
        (b'{"model": NaN}', "the file: NaN is not a JSON number; write a finite number."),
        (b"[" * 100_000, "the file: is nested too deep; write a flat budget."),
        (b'{"model": ' + b"9" * 5000 + b"}", "the file: holds a number with too many digits; shorten it."),
        (b"[]", 'the file: is not an object; write {"model": …, "inputs": […]}.'),
        (json.dumps(SUM | {"model": "a + c\n"}).encode(), "model, column 5: “c” is not known; use one of the inputs"),
    ],
)
def test_bad_input_is_one_line_on_stderr(tmp_path, capsys, content, message):
    path = tmp_path / "budget.json"
    path.write_bytes(content)
    status, out, err = run(capsys, path)
    assert (status, out, err.count("\n")) == (2, "", 1)
    assert err.startswith(f"{path}: ")
    assert message in err


def test_missing_file(tmp_path, capsys):
    status, out, err = run(capsys, tmp_path / "none.json")
    assert (status, out) == (2, "")
    assert err.endswith("the file: cannot be read (No such file or directory); give a readable file.\n")


def test_needs_no_database_and_no_checks():
    assert Command.requires_system_checks == []
    assert Command.requires_migrations_checks is False


def test_monte_carlo_beside_the_statement_where_asked():
    answer = statement_of(SUM | {"monte_carlo": {"trials": 20_000, "seed": 3}})
    assert answer["monte_carlo"]["standard_uncertainty"] == pytest.approx(5.0, rel=0.03)
    assert statement_of(SUM | {"monte_carlo": {"trials": 20_000, "seed": 3}}) == answer
    assert "monte_carlo" not in statement_of(SUM | {"monte_carlo": False})


@pytest.mark.parametrize("asked", ["yes", {"draws": 3}, {"trials": 1.5}, {"trials": 10}, {"seed": -1}, {"seed": True}])
def test_monte_carlo_asked_for_oddly(asked):
    with pytest.raises(BudgetError, match=r"^monte_carlo: "):
        statement_of(SUM | {"monte_carlo": asked})


def test_as_a_process(tmp_path):
    path = tmp_path / "budget.json"
    path.write_text(json.dumps(SUM), encoding="utf-8")
    environment = os.environ | {"PYTHONDONTWRITEBYTECODE": "1"}
    command = [sys.executable, "manage.py", "budget"]
    good = subprocess.run([*command, str(path)], cwd=HOUSE, env=environment, capture_output=True, check=False)
    assert (good.returncode, good.stderr) == (0, b"")
    assert json.loads(good.stdout)["value"] == 3.0
    bad = subprocess.run([*command, str(tmp_path)], cwd=HOUSE, env=environment, capture_output=True, check=False)
    assert (bad.returncode, bad.stdout, bad.stderr.count(b"\n")) == (2, b"", 1)
