"""Reading in a child process: the same answer, and nothing worse than a refusal."""

from __future__ import annotations

import json
import os
import subprocess

import numpy as np
import pytest

from records.readers import isolation
from records.readers.columns import ColumnMap
from records.readers.isolation import read_in_child
from records.readers.reading import read_record
from records.readers.recording import Limits
from records.readers.refusals import MappingNeeded, NotANumber, ReadingTooCostly
from tests.recordfiles import write_pair


def test_the_child_answers_as_the_plain_reader(tmp_path):
    path = tmp_path / "record.csv"
    path.write_text("# Bay: 2\nt (ms);U (V)\n0;1,5\n500;2,5\n1000;3,5", encoding="utf-8")
    ours, theirs = read_record(path), read_in_child(path)
    np.testing.assert_array_equal(ours.time_s, theirs.time_s)
    np.testing.assert_array_equal(ours.channels["voltage_kv"], theirs.channels["voltage_kv"])
    assert (ours.metadata, ours.oddities, ours.sha256) == (theirs.metadata, theirs.oddities, theirs.sha256)


def test_a_refusal_keeps_its_class_and_row(tmp_path):
    path = tmp_path / "record.csv"
    path.write_text("time_s,voltage_kv\n0,1\n1,x\n2,3\n", encoding="utf-8")
    with pytest.raises(NotANumber) as caught:
        read_in_child(path)
    assert caught.value.row == 3


def test_a_question_keeps_its_preview(tmp_path):
    path = tmp_path / "record.csv"
    path.write_text("A,B\n0,1\n1,2\n2,3\n", encoding="utf-8")
    with pytest.raises(MappingNeeded) as caught:
        read_in_child(path)
    assert [column.head for column in caught.value.preview.columns] == ["A", "B"]


def test_too_little_memory_is_a_refusal(tmp_path):
    path = tmp_path / "record.csv"
    path.write_text("time_s,voltage_kv\n" + "".join(f"{i},1\n" for i in range(200_000)), encoding="utf-8")
    with pytest.raises(ReadingTooCostly, match="The file was not read"):
        read_in_child(path, limits=Limits(memory_bytes=200_000_000))


def test_signs_that_no_database_takes_do_not_come_out_of_the_child(tmp_path):
    analogs = (("U\0L1", "kV", 1, 0, 1, 1, "P"),)
    first, second = write_pair(tmp_path, "ASCII", [(1,), (2,), (3,)], analogs=analogs)
    with pytest.raises(MappingNeeded) as caught:
        read_in_child(first, companion=second)
    heads = [column.head for column in caught.value.preview.columns]
    assert heads == ["Time", "U L1"]
    mapping = ColumnMap.from_dict({"voltage_kv": heads[1]})
    recording = read_in_child(first, companion=second, columns=mapping)
    assert recording.channels["voltage_kv"].tolist() == [1, 2, 3]
    path = tmp_path / "record.csv"
    path.write_bytes(b"time_s,voltage_kv\n0,1\n1,\xed\xa0\x80\x7f\n2,3\n")
    with pytest.raises(NotANumber) as refused:
        read_in_child(path)
    assert refused.value.message.isprintable()


def test_a_file_that_is_not_there_is_no_refusal(tmp_path):
    with pytest.raises(FileNotFoundError):
        read_in_child(tmp_path / "nothing")


SOUND = {"channels": ["voltage_kv"], "places": [[0, 0], [0, 0]], "metadata": {}, "oddities": [], "sha256": ""}


@pytest.mark.parametrize(
    "answer",
    [
        b"{",
        b"\xff",
        b"[" * 100_000,
        b"[]",
        b"{}",
        b'{"refused": "RecordRefused"}',
        b'{"absent": "x"}',
        json.dumps(SOUND | {"preview": None, "places": [[0, 0]]}).encode(),
        json.dumps(SOUND | {"preview": None, "places": [[0, 0], [0, 10**9]]}).encode(),
        json.dumps(SOUND | {"preview": None, "places": [[0, 0], ["0", 0]]}).encode(),
        json.dumps(SOUND | {"preview": None, "places": 3}).encode(),
        json.dumps(SOUND | {"preview": 3}).encode(),
    ],
)
def test_an_answer_that_no_sound_child_gives_is_a_refusal(answer, monkeypatch, tmp_path):
    def child(command, **how):
        os.write(int(command[-1]), answer)
        return subprocess.CompletedProcess(command, 0)

    (tmp_path / "record").write_text("time_s,voltage_kv\n0,1\n1,2\n2,3\n", encoding="utf-8")
    monkeypatch.setattr(isolation.subprocess, "run", child)
    with pytest.raises(ReadingTooCostly, match="before all that was read could be handed over"):
        read_in_child(tmp_path / "record")


def test_an_answer_longer_than_any_sound_one_is_not_taken_into_memory(monkeypatch, tmp_path):
    def child(command, **how):
        os.truncate(int(command[-1]), 2**40)
        return subprocess.CompletedProcess(command, 0)

    (tmp_path / "record").write_text("time_s,voltage_kv\n0,1\n1,2\n2,3\n", encoding="utf-8")
    monkeypatch.setattr(isolation.subprocess, "run", child)
    with pytest.raises(ReadingTooCostly, match="before all that was read could be handed over"):
        read_in_child(tmp_path / "record")
