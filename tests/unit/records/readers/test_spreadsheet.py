"""Spreadsheets: where the table is, units below the heads, merged heads, dates, and what is refused with its row."""

from __future__ import annotations

import datetime as dt
import io

import numpy as np
import openpyxl
import pytest

from records.readers.columns import ColumnMap
from records.readers.reading import preview, read_record
from records.readers.refusals import ColumnMissing, MappingNeeded, NoTable, NotANumber
from records.readers.wanted import WANTED_BY_KIND
from tests.recordfiles import sheet_xml, workbook_bytes

DISCHARGE = WANTED_BY_KIND["partial_discharge"]
PLAIN = WANTED_BY_KIND["power_frequency_withstand"]
ROWS = [[0, 1.25, 2], [0.5, 2.5, 4.5], [1, 3.75, 100], [1.5, 5, 3]]


def read(room, rows, wanted=DISCHARGE, merges=(), columns=None, **sheet):
    path = room / "record"
    path.write_bytes(workbook_bytes(sheet_xml(rows, merges, **sheet)))
    return read_record(path, wanted=wanted, columns=columns)


def read_book(room, book, wanted=PLAIN):
    stream = io.BytesIO()
    book.save(stream)
    (room / "record").write_bytes(stream.getvalue())
    return read_record(room / "record", wanted=wanted)


def assert_read(recording):
    np.testing.assert_array_equal(recording.time_s, [0, 0.5, 1, 1.5])
    np.testing.assert_array_equal(recording.channels["voltage_kv"], [1.25, 2.5, 3.75, 5])
    np.testing.assert_array_equal(recording.channels["charge_pc"], [2, 4.5, 100, 3])


LAYOUTS = {
    "plain": ([["Time (s)", "U (kV)", "q (pC)"], *ROWS], ()),
    "a row of units": ([["Time", "Voltage", "Charge"], ["s", "kV", "pC"], *ROWS], ()),
    "bracketed units": ([["Time", "Voltage", "Charge"], ["[s]", "[kV]", "[pC]"], *ROWS], ()),
    "a title over all": ([["Report", None, None], ["Time (s)", "U (kV)", "q (pC)"], *ROWS], ("A1:C1",)),
    "merged heads": (
        [["Time", "Test", None], [None, "voltage", "q (pC)"], ["s", "kV", "pC"], *ROWS],
        ("A1:A2", "B1:B1"),
    ),
    "a blank row below the heads": ([["Time (s)", "U (kV)", "q (pC)"], [None], *ROWS], ()),
    "blank rows between": (
        [["Time (s)", "U (kV)", "q (pC)"], ROWS[0], [None], ROWS[1], [None], ROWS[2], ROWS[3], [None]], ()
    ),
    "facts above": ([["Bay", 2], ["Serial:", "X-1"], [None], ["Time (s)", "U (kV)", "q (pC)"], *ROWS], ()),
    "columns apart": ([[None, "Time (s)", None, "U (kV)", "q (pC)"], *[[None, r[0], None, *r[1:]] for r in ROWS]], ()),
    "a column of remarks": ([["Time (s)", "U (kV)", "q (pC)", "Remark"], *[[*r, "ok"] for r in ROWS]], ()),
}  # fmt: skip


@pytest.mark.parametrize("name", LAYOUTS)
def test_each_layout_gives_the_same_numbers(name, tmp_path):
    rows, merges = LAYOUTS[name]
    assert_read(read(tmp_path, rows, merges=merges))


def test_a_group_of_heads_counts_for_each_column_below_it(tmp_path):
    rows = [["Time", "Test", None, "Charge"], [None, "voltage", "current", None], ["s", "kV", "mA", "pC"]]
    path = tmp_path / "record"
    path.write_bytes(
        workbook_bytes(sheet_xml([*rows, *[[*r[:2], 7, r[2]] for r in ROWS]], ("B1:C1", "A1:A2", "D1:D2")))
    )
    seen = preview(path, wanted=DISCHARGE)
    assert [column.head for column in seen.columns] == ["Time", "Test voltage", "Test current", "Charge"]
    assert_read(read_record(path, wanted=DISCHARGE))


def test_facts_above_the_heads_are_kept(tmp_path):
    rows, merges = LAYOUTS["facts above"]
    assert read(tmp_path, rows, merges=merges).metadata == {"Bay": "2", "Serial": "X-1", "sheet": "Record"}


def test_dates_and_clock_times(tmp_path):
    start = dt.datetime(2026, 3, 2, 23, 59, 59)
    half = dt.timedelta(milliseconds=500)
    stamps = {
        "Timestamp": [start + n * half for n in range(4)],
        "Clock": [(start + n * half).time() for n in range(4)],
        "Elapsed": [n * half for n in range(4)],
    }
    for head, cells in stamps.items():
        book = openpyxl.Workbook()
        book.active.append([head, "U (kV)"])
        for number, cell in enumerate(cells):
            book.active.append([cell, number])
        recording = read_book(tmp_path, book)
        np.testing.assert_allclose(recording.time_s, [0, 0.5, 1, 1.5], atol=1e-9)
        assert ("The clock passed midnight; a day was added from there on." in recording.oddities) == (head == "Clock")


def test_days_as_plain_numbers_are_dates_only_under_a_head_of_dates(tmp_path):
    rows = [["Timestamp", "U (kV)"], *[[46_000 + n / 86_400, n] for n in range(4)]]
    recording = read(tmp_path, rows, PLAIN)
    np.testing.assert_allclose(recording.time_s, [0, 1, 2, 3], atol=1e-6)
    assert "The numbers in “Timestamp” were read as days." in recording.oddities
    with pytest.raises(MappingNeeded, match="names no unit"):
        read(tmp_path, [["Time", "U (kV)"], *rows[1:]], PLAIN)


def test_the_sheet_that_holds_what_is_needed_is_chosen(tmp_path):
    book = openpyxl.Workbook()
    book.active.append(["Part", "Mass (kg)"])
    book.active.append(["bolt", 2])
    book.active.append(["nut", 1])
    sheet = book.create_sheet("Trend")
    sheet.append(["t (s)", "U (kV)"])
    for number in range(4):
        sheet.append([number, number / 2])
    recording = read_book(tmp_path, book)
    assert recording.metadata["sheet"] == "Trend"
    assert recording.oddities == ("Other sheets hold numbers too and were not read: “Sheet”.",)


def test_formulas_count_by_what_they_gave_when_the_file_was_saved(tmp_path):
    sheet = sheet_xml([["Time (s)", "U (kV)"], [0, 1.0], [1, 2.0], [2, 3.0]])
    path = tmp_path / "record"
    path.write_bytes(workbook_bytes(sheet.replace("<v>3.0</v>", "<f>B2+B3</f><v>3.5</v>")))
    np.testing.assert_array_equal(read_record(path).channels["voltage_kv"], [1, 2, 3.5])
    path.write_bytes(workbook_bytes(sheet.replace("<v>3.0</v>", "<f>B2+B3</f>")))
    with pytest.raises(NotANumber, match="Row 4: the column “U \\(kV\\)” holds nothing"):
        read_record(path)


@pytest.mark.parametrize(
    ("cell", "words"),
    [("OVL", "the text “OVL”"), ("1.5", "the text “1.5”"), (None, "nothing"), (True, "the text “True”")],
)
def test_what_is_no_number_is_refused_with_its_row(cell, words, tmp_path):
    rows = [["Time (s)", "U (kV)"], [0, 1], [1, 2], [None], [2, cell], [3, 4]]
    with pytest.raises(NotANumber, match=f"Row 5: the column “U \\(kV\\)” holds {words}") as caught:
        read(tmp_path, rows, PLAIN)
    assert caught.value.row == 5


def test_an_error_of_a_formula_is_refused(tmp_path):
    sheet = sheet_xml([["Time (s)", "U (kV)"], [0, 1.0], [1, 2.0], [2, 3.0]])
    path = tmp_path / "record"
    path.write_bytes(workbook_bytes(sheet.replace('<c r="B4"><v>3.0</v>', '<c r="B4" t="e"><v>#DIV/0!</v>')))
    with pytest.raises(NotANumber, match="Row 4: the column “U \\(kV\\)” holds the text “#DIV/0!”"):
        read_record(path)


def test_a_mapping_and_its_preview(tmp_path):
    rows = [["T", "CH1"], *[[n, 1000 * n] for n in range(4)]]
    with pytest.raises(MappingNeeded) as caught:
        read(tmp_path, rows, PLAIN)
    assert [(c.head, c.samples[:2]) for c in caught.value.preview.columns] == [
        ("T", ("0", "1")),
        ("CH1", ("0", "1000")),
    ]
    mapping = ColumnMap.from_dict({"time_s": "T", "voltage_kv": {"column": "CH1", "unit": "V"}})
    recording = read(tmp_path, rows, PLAIN, columns=mapping)
    np.testing.assert_array_equal(recording.channels["voltage_kv"], [0, 1, 2, 3])
    assert recording.preview.columns[1].values[:2] == ("0 kV", "1 kV")
    with pytest.raises(ColumnMissing, match="“CH9” mapped to voltage_kv"):
        read(tmp_path, rows, PLAIN, columns=ColumnMap.from_dict({"voltage_kv": "CH9"}))


def test_a_sheet_without_numbers(tmp_path):
    with pytest.raises(NoTable, match="No sheet of the workbook holds rows of numbers"):
        read(tmp_path, [["Time", "U"], ["a", "b"]])


def test_a_size_that_lies_is_not_believed(tmp_path):
    assert_read(read(tmp_path, [["Time (s)", "U (kV)", "q (pC)"], *ROWS], dimension="A1:XFD1048576"))
