"""A table read in blocks is the table read at once, wherever the blocks end; faults keep their row."""

from __future__ import annotations

import hashlib

import numpy as np
import pytest

from records.readers import blocks
from records.readers.reading import read_record
from records.readers.recording import Limits
from records.readers.refusals import ColumnsDiffer, NotANumber, RecordRefused, RecordTooLarge, RecordTruncated

ROWS = [f"{place / 10},{place % 7 - 3.25},{place * place}" for place in range(200)]
HEAD = "# Bay: 2\ntime_s,voltage_kv,charge_pc\n"


@pytest.fixture(params=[1, 7, 64, 999, 4096])
def small(request, monkeypatch):
    """Make blocks so small that a table has very many."""
    monkeypatch.setattr(blocks, "_BLOCK_BYTES", request.param)


def read(room, text, **how):
    (room / "record").write_bytes(text.encode())
    return read_record(room / "record", **how)


@pytest.mark.parametrize("end", ["\n", ""])
@pytest.mark.parametrize("line_end", ["\n", "\r\n"])
def test_the_numbers_are_the_same(small, end, line_end, tmp_path):
    text = (HEAD + "\n".join(ROWS) + end).replace("\n", line_end)
    recording = read(tmp_path, text)
    np.testing.assert_array_equal(recording.time_s, [place / 10 for place in range(200)])
    np.testing.assert_array_equal(recording.channels["voltage_kv"], [place % 7 - 3.25 for place in range(200)])
    np.testing.assert_array_equal(recording.channels["charge_pc"], [place * place for place in range(200)])
    assert recording.sha256 == hashlib.sha256(text.encode()).hexdigest()
    assert bool(recording.oddities) == (end == "")


@pytest.mark.parametrize(
    ("row", "cells", "refusal"),
    [
        (3, "x,1,2", NotANumber),
        (120, "1,OVL,2", NotANumber),
        (120, "12,,2", NotANumber),
        (120, "12,nan,2", NotANumber),
        (120, "12,1", ColumnsDiffer),
        (120, "12,1,2,3", ColumnsDiffer),
        (202, "19.9,1", RecordTruncated),
    ],
)
def test_a_fault_keeps_its_row(small, row, cells, refusal, tmp_path):
    lines = [*HEAD.splitlines(), *ROWS]
    lines[row - 1] = cells
    with pytest.raises(refusal) as caught:
        read(tmp_path, "\n".join(lines) + "\n")
    assert caught.value.row == row


def test_the_first_of_two_faults_is_told(small, tmp_path):
    lines = [*HEAD.splitlines(), *ROWS]
    lines[30], lines[150] = "3,one,2", "15,two,2"
    with pytest.raises(NotANumber, match=r"Row 31: .* “one”"):
        read(tmp_path, "\n".join(lines) + "\n")


def test_what_is_only_unusual_is_read_by_way_of_a_clean_copy(small, tmp_path):
    text = (
        HEAD + "\n".join(ROWS[:100]) + "\n\n\n" + " , ".join(ROWS[100].split(",")) + "\n" + "\n".join(ROWS[101:]) + "\n"
    )
    assert read(tmp_path, text).rows == 200


def test_a_quotation_mark_that_stays_open_is_refused(small, tmp_path):
    lines = [*HEAD.splitlines(), *ROWS]
    lines[100] = '9.9,"1,2'
    with pytest.raises(RecordRefused):
        read(tmp_path, "\n".join(lines) + "\n")


def test_the_limit_of_rows_holds(small, tmp_path):
    with pytest.raises(RecordTooLarge, match="the limit is 150"):
        read(tmp_path, HEAD + "\n".join(ROWS) + "\n", limits=Limits(max_rows=150))


def test_rows_that_get_shorter_need_more_room_than_was_expected(small, tmp_path):
    long, short = [f"{place}.{'0' * 60},1,1" for place in range(20)], [f"{place},1,1" for place in range(20, 5000)]
    assert read(tmp_path, HEAD + "\n".join(long + short) + "\n").rows == 5000
