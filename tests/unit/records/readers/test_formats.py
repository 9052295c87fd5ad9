"""The bytes decide which reader a file gets, whatever it is called; pairs find each other."""

from __future__ import annotations

import pytest

from records.readers.formats import format_of
from records.readers.pairs import Given, paired
from records.readers.reading import read_record
from records.readers.refusals import RecordRefused
from records.readers.wanted import WANTED_BY_KIND
from tests.recordfiles import seeds, write_pair

NAMES = {
    "text": "text in columns",
    "comtrade": "COMTRADE",
    "comtrade_ascii": "COMTRADE",
    "touchstone": "Touchstone",
    "spreadsheet": "spreadsheet (XLSX)",
    "hdf5": "HDF5",
    "parquet": "Parquet",
}


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("ending", ["", ".csv", ".xlsx", ".s1p", ".dat"])
def test_the_name_of_a_file_does_not_matter(name, ending, tmp_path):
    content = seeds(tmp_path)[name]
    assert format_of(content[: 64 * 1024]).name == NAMES[name]
    path = tmp_path / f"record{ending}"
    path.write_bytes(content)
    kind = "frequency_response" if name == "touchstone" else "power_frequency_withstand"
    assert read_record(path, wanted=WANTED_BY_KIND[kind]).rows in (3, 5)


def test_a_user_block_before_hdf5(tmp_path):
    assert format_of(b"\0" * 512 + b"\x89HDF\r\n\x1a\n").name == "HDF5"
    assert format_of(b"\0" * 500 + b"\x89HDF\r\n\x1a\n").name == "text in columns"


def test_a_pair_is_found_in_either_order_and_among_others(tmp_path):
    first, second = (str(path) for path in write_pair(tmp_path, "BINARY", [(1,), (2,), (3,)]))
    other = str(tmp_path / "other.csv")
    (tmp_path / "other.csv").write_text("t (s),U (kV)\n0,1\n1,2\n2,3\n", encoding="utf-8")
    assert paired([first, second]) == paired([second, first]) == [Given(first, second)]
    assert paired([other, first, second]) == [Given(other), Given(first, second)]
    assert paired([first]) == [Given(first)]
    assert paired(["no/such/file", first]) == [Given(first, "no/such/file")]


def test_two_pairs_go_by_their_names(tmp_path):
    for name in ("a", "b"):
        (tmp_path / name).mkdir()
        write_pair(tmp_path / name, "BINARY", [(1,), (2,), (3,)])
    paths = [
        str(tmp_path / name / f"record.{ending}")
        for name, ending in (("a", "cfg"), ("b", "cfg"), ("b", "dat"), ("a", "dat"))
    ]
    assert paired(paths) == [Given(paths[0], paths[3]), Given(paths[1], paths[2])]


def test_an_empty_file_and_one_of_blanks_are_empty(tmp_path):
    for content in (b"", b" \n\t\n"):
        (tmp_path / "record").write_bytes(content)
        with pytest.raises(RecordRefused, match="The file is empty"):
            read_record(tmp_path / "record")
