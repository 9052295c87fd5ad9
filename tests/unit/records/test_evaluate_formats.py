"""`manage.py evaluate` judges a record alike in every format that can hold it."""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from records.evaluation.shell import BadInput, evaluate_files
from records.evaluation.synthesis import Hold, synthesise_withstand
from tests.recordfiles import (
    comtrade_configuration,
    comtrade_data,
    comtrade_single,
    hdf5_bytes,
    parquet_bytes,
    sheet_xml,
    workbook_bytes,
    write_pair,
)
from tests.unit.records.test_evaluate_command import WITHSTAND, run

MADE = synthesise_withstand([Hold(30, 62)], seed=1)
KV = np.round(MADE.channels["voltage_kv"], 3)


@pytest.fixture(autouse=True)
def room(tmp_path, monkeypatch):
    (tmp_path / "step.json").write_text(json.dumps(WITHSTAND), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def words():
    return [(round(1000 * value),) for value in KV]


FILES = {
    "csv": lambda room: (
        "time_s,voltage_kv\n" + "".join(f"{t:.1f},{v:.3f}\n" for t, v in zip(MADE.time_s, KV, strict=True))
    ).encode(),
    "xlsx": lambda room: workbook_bytes(
        sheet_xml([["t (s)", "U (kV)"], *zip(MADE.time_s.round(1).tolist(), KV.tolist(), strict=True)])
    ),
    "hdf5": lambda room: hdf5_bytes(room, {"time_s": MADE.time_s.round(1), "voltage_kv": KV}),
    "parquet": lambda room: parquet_bytes({"time_s": MADE.time_s.round(1), "voltage_kv": KV}),
    "cff": lambda room: comtrade_single(
        "BINARY32",
        comtrade_configuration("BINARY32", samples=len(KV), rates=((10, None),), line_hz="0", revision="2013"),
        comtrade_data("BINARY32", words()),
    ),
}


def held(*paths):
    evaluation = evaluate_files("step.json", [str(path) for path in paths])
    return evaluation.verdict, evaluation.rows


@pytest.mark.parametrize("kind", FILES)
def test_each_format_gives_the_verdict(kind, room):
    (room / "record").write_bytes(FILES[kind](room))
    assert held("record") == ("conforms", len(KV))


def test_a_pair_is_given_as_two_records_in_either_order(room):
    first, second = write_pair(room, "BINARY", words(), rates=((10, None),), line_hz="0")
    assert held(first, second) == held(second, first) == ("conforms", len(KV))


def test_one_file_of_a_pair_is_one_line_of_bad_input(room):
    write_pair(room, "BINARY", words(), rates=((10, None),))
    done = run(room, "step.json", "record.cfg")
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.startswith("record.cfg: The file is the configuration of a COMTRADE record (.cfg)")
    assert done.stderr.count("\n") == 1


@pytest.mark.parametrize("content", [b"PK\x03\x04" + b"x" * 90, b"\x89HDF\r\n\x1a\n" + b"x" * 90, b"PAR1" + b"x" * 90])
def test_damaged_files_are_one_line_of_bad_input(content, room):
    (room / "record").write_bytes(content)
    begun = time.monotonic()
    with pytest.raises(BadInput) as caught:
        evaluate_files("step.json", ["record"])
    assert time.monotonic() - begun < 15
    assert str(caught.value).startswith("record: The file ")
    assert "\n" not in str(caught.value)


def test_libraries_of_other_formats_are_not_loaded_by_the_command_itself(room):
    (room / "record").write_bytes(FILES["hdf5"](room))
    before = {name for name in sys.modules if name.startswith("records.readers.hierarch")}
    assert held("record")[0] == "conforms"
    assert {name for name in sys.modules if name.startswith("records.readers.hierarch")} == before
    assert Path("record").exists()
