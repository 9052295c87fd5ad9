"""Wrong files: each is refused by the fact, with its row and a mend, and none by a traceback."""

from __future__ import annotations

import gzip

import pytest

from records.readers.columns import ColumnMap
from records.readers.reading import preview, read_record
from records.readers.recording import Limits
from records.readers.refusals import (
    REFUSALS,
    BadColumnMap,
    ColumnMissing,
    ColumnsDiffer,
    EncodingUnreadable,
    MappingNeeded,
    NoTable,
    NotANumber,
    RecordDamaged,
    RecordEmpty,
    RecordNotText,
    RecordRefused,
    RecordTooLarge,
    RecordTruncated,
    TimeGoesBackwards,
    TimeStandsStill,
    TooFewRows,
)

HEAD = "time_s,voltage_kv,charge_pc\n"
ROWS = "0,1,2\n1,2,3\n2,3,4\n3,4,5\n"

WRONG = {
    "nothing": (b"", RecordEmpty, None, "empty"),
    "blank lines": (b"\n \n\r\n\t\n", RecordEmpty, None, "empty"),
    "a mark and nothing else": (b"\xef\xbb\xbf", RecordEmpty, None, "empty"),
    "zero bytes": (b"\0" * 5000, RecordEmpty, None, "empty"),
    "random bytes": (bytes(range(256)) * 40, RecordNotText, None, "binary"),
    "control bytes": (bytes([1, 2, 3, 4, 5, 65, 66]) * 40, RecordNotText, None, "binary"),
    "no spreadsheet": (b"PK\x03\x04" + b"x" * 99, RecordDamaged, None, "zip container"),
    "a compressed file": (gzip.compress((HEAD + ROWS).encode()), RecordNotText, None, "compressed"),
    "a PDF": (b"%PDF-1.7\n1 0 obj", RecordNotText, None, "PDF"),
    "a picture": (b"\x89PNG\r\n\x1a\n" + b"\0" * 40, RecordNotText, None, "picture"),
    "UTF-32": ((HEAD + ROWS).encode("utf-32"), EncodingUnreadable, None, "UTF-32"),
    "half a character of UTF-16": ((HEAD + ROWS).encode("utf-16")[:-1], EncodingUnreadable, None, "byte"),
    "prose": (b"Dear laboratory,\nplease find the record attached.\n", NoTable, None, "No rows of numbers"),
    "a page": (b"<!doctype html><html><body>Not found</body></html>\n", NoTable, None, "No rows of numbers"),
    "heads only": (HEAD.encode(), NoTable, None, "No rows of numbers"),
    "one column": (b"voltage_kv\n1\n2\n3\n", ColumnMissing, 1, "no column for the time"),
    "cut in the middle of a row": ((HEAD + ROWS + "4,5").encode(), RecordTruncated, 6, "cut off"),
    "cut in the middle of a number": ((HEAD + ROWS + "4,5,-").encode(), RecordTruncated, 6, "stops at"),
    "zeros where the disk was full": ((HEAD + ROWS).encode() + b"\0" * 512, RecordTruncated, 6, "zero bytes"),
    "text in a number column": ((HEAD + "0,1,2\n1,OVL,3\n2,3,4\n").encode(), NotANumber, 3, "“OVL”"),
    "text far down": ((HEAD + "".join(f"{i},1,2\n" for i in range(9000)) + "9000,1,?\n9001,1,2\n").encode(),
                      NotANumber, 9002, "“?”"),
    "an empty cell": ((HEAD + "0,1,2\n1,,3\n2,3,4\n").encode(), NotANumber, 3, "nothing"),
    "NaN": ((HEAD + "0,1,2\n1,2,NaN\n2,3,4\n").encode(), NotANumber, 3, "NaN"),
    "infinity": ((HEAD + "0,1,2\n1,2,3\n2,-inf,4\n").encode(), NotANumber, 4, "-inf"),
    "a short row": ((HEAD + "0,1,2\n1,2\n2,3,4\n").encode(), ColumnsDiffer, 3, "has 2 columns"),
    "a long row": ((HEAD + "0,1,2\n1,2,3,4\n2,3,4\n").encode(), ColumnsDiffer, 3, "has 4 columns"),
    "a footer": ((HEAD + ROWS + "End of record\n").encode(), ColumnsDiffer, 6, "has 1 columns"),
    "decimal commas between commas": (b"Time (s),U (kV)\n0,0,1,5\n0,2,1,7\n0,4,1,8\n", ColumnsDiffer, 2, "semicolons"),
    "an open quotation mark": ((HEAD + '0,1,2\n1,"2,3\n2,3,4\n').encode(), RecordRefused, None, ""),
    "no voltage": (b"time_s,charge_pc\n0,1\n1,2\n2,3\n", ColumnMissing, 1, "voltage"),
    "heads that tell nothing": (b"A,B\n0,1\n1,2\n2,3\n", MappingNeeded, 1, "“A”, “B”"),
    "a unit that cannot be": (b"time_s,Voltage (pC)\n0,1\n1,2\n2,3\n", MappingNeeded, 1, "“pC”"),
    "no unit": (b"time_s,Voltage\n0,1\n1,2\n2,3\n", MappingNeeded, 1, "names no unit"),
    "time going backwards": ((HEAD + "0,1,2\n2,2,3\n1,3,4\n").encode(), TimeGoesBackwards, 4, "earlier"),
    "two records in one": ((HEAD + ROWS + ROWS).encode(), TimeGoesBackwards, 6, "two records"),
    "time standing still": ((HEAD + "5,1,2\n5,2,3\n5,3,4\n").encode(), TimeStandsStill, None, "All 3 rows"),
    "too few rows": ((HEAD + "0,1,2\n1,2,3\n").encode(), TooFewRows, None, "2 rows"),
    "a stamp among stamps that is none": (
        b"Time,U (kV)\n10:00:00,1\n10:00:01,2\nnoon,3\n10:00:03,4\n", NotANumber, 4, "“noon”"
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", WRONG)
def test_wrong_file(name, tmp_path):
    content, refusal, row, words = WRONG[name]
    path = tmp_path / "record.csv"
    path.write_bytes(content)
    with pytest.raises(refusal) as caught:
        read_record(path)
    assert words in caught.value.message
    assert row is None or caught.value.row == row
    assert caught.value.message.endswith(".")
    assert "\n" not in caught.value.message


def test_there_are_at_least_25_wrong_files():
    assert len(WRONG) >= 25


def test_larger_than_the_limit(tmp_path):
    path = tmp_path / "record.csv"
    path.write_text(HEAD + ROWS, encoding="utf-8")
    with pytest.raises(RecordTooLarge, match=r"the limit is 0\.0 MB"):
        read_record(path, limits=Limits(max_bytes=20))
    with pytest.raises(RecordTooLarge, match="5 rows; the limit is 3"):
        read_record(path, limits=Limits(max_rows=3))
    with pytest.raises(RecordTooLarge):
        preview(path, limits=Limits(max_bytes=20))


def test_a_channel_that_the_step_needs_is_asked_for(tmp_path):
    path = tmp_path / "record.csv"
    path.write_text("time_s,voltage_kv\n0,1\n1,2\n2,3\n", encoding="utf-8")
    with pytest.raises(ColumnMissing, match="no column for the charge"):
        read_record(path, needed=("time_s", "voltage_kv", "charge_pc"))


@pytest.mark.parametrize(
    ("mapping", "words"),
    [
        ([], "must be an object"),
        ({"volts": "A"}, "“volts” is not a channel"),
        ({"voltage_kv": 3}, "state the column as text"),
        ({"voltage_kv": {"column": "A", "unit": "pc"}}, "“pc” is not a unit of it"),
    ],
)
def test_a_mapping_that_cannot_be_used(mapping, words):
    with pytest.raises(BadColumnMap, match=words):
        ColumnMap.from_dict(mapping)


def test_a_mapped_column_that_is_not_there(tmp_path):
    path = tmp_path / "record.csv"
    path.write_text("A,B\n0,1\n1,2\n2,3\n", encoding="utf-8")
    with pytest.raises(ColumnMissing, match="“C” mapped to voltage_kv is not in the file, which has “A”, “B”"):
        read_record(path, columns=ColumnMap.from_dict({"time_s": "A", "voltage_kv": "C"}))


def test_a_mapping_against_the_unit_of_the_file(tmp_path):
    path = tmp_path / "record.csv"
    path.write_text("time_s,CH1 (pC)\n0,1\n1,2\n2,3\n", encoding="utf-8")
    with pytest.raises(BadColumnMap, match="is in “pC”, which is no unit of voltage_kv"):
        read_record(path, columns=ColumnMap.from_dict({"voltage_kv": "CH1 (pC)"}))


def test_a_mapping_round_trips():
    content = {"time_s": "T", "voltage_kv": {"column": "CH1", "unit": "V"}}
    assert ColumnMap.from_dict(content).as_dict() == content


def test_every_refusal_can_cross_the_process_border():
    assert all(issubclass(refusal, RecordRefused) for refusal in REFUSALS.values())
    assert REFUSALS["NotANumber"]("x", row=3).row == 3


@pytest.mark.parametrize("told", [RuntimeError("can't start new thread"), RuntimeError("odd bytes")])
def test_what_ran_out_of_memory_is_no_damage(told, tmp_path, monkeypatch):
    """Under its limit of memory a reader may find no room for a thread; the file is then as good as before."""

    def fail(order):
        raise told

    (tmp_path / "record").write_text(HEAD + ROWS)
    monkeypatch.setattr("records.readers.text.read", fail)
    with pytest.raises(MemoryError if "thread" in str(told) else RecordDamaged):
        read_record(tmp_path / "record")
