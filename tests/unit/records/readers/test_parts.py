"""Rows of several phases in one file: told apart by a column of names, and never averaged into one winding."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest

from records.evaluation.evaluating import evaluate
from records.evaluation.joining import TooManyParts, parts_of
from records.readers.columns import ColumnMap
from records.readers.isolation import read_in_child
from records.readers.labels import coded
from records.readers.reading import read_record
from records.readers.recording import Recording
from records.readers.refusals import NotANumber
from records.readers.wanted import WANTED_BY_KIND
from tests.recordfiles import sheet_xml, workbook_bytes

RESISTANCES = WANTED_BY_KIND["winding_resistance"]
ROWS = [("A", 1.00), ("A", 1.02), ("B", 1.10), ("B", 1.10), ("C", 1.20), ("C", 1.20)]


def as_text(room, head="phase", rows=ROWS):
    lines = [f"{head},R (ohm),T (°C)", *[f"{name},{value},20" for name, value in rows]]
    (room / "record").write_text("\n".join(lines) + "\n", encoding="utf-8")


def as_spreadsheet(room):
    rows = [["Winding", "R (ohm)"], *[list(row) for row in ROWS]]
    (room / "record").write_bytes(workbook_bytes(sheet_xml(rows, ())))


def as_parquet(room):
    names, values = zip(*ROWS, strict=True)
    pl.DataFrame({"part": names, "resistance_ohm": values}).write_parquet(room / "record")


@pytest.mark.parametrize("written", [as_text, as_spreadsheet, as_parquet])
@pytest.mark.parametrize("read", [read_record, read_in_child])
def test_rows_are_told_apart_by_their_names(written, read, tmp_path):
    written(tmp_path)
    parts = parts_of(read(tmp_path / "record", wanted=RESISTANCES))
    assert [part.metadata["part"] for part in parts] == ["A", "B", "C"]
    assert [part.channels["resistance_ohm"].tolist() for part in parts] == [[1.0, 1.02], [1.1, 1.1], [1.2, 1.2]]
    assert all("part" not in part.channels for part in parts)


def test_phases_that_are_numbers_are_names_too(tmp_path):
    as_text(tmp_path, rows=[("1", 1.0), ("2", 2.0), ("1", 3.0)])
    parts = parts_of(read_record(tmp_path / "record", wanted=RESISTANCES))
    assert [(part.metadata["part"], part.channels["resistance_ohm"].tolist()) for part in parts] == [
        ("1", [1.0, 3.0]),
        ("2", [2.0]),
    ]


def test_a_person_may_say_which_column_names_the_phase(tmp_path):
    as_text(tmp_path, head="Messstelle")
    columns = ColumnMap.from_dict({"part": "Messstelle", "resistance_ohm": "R (ohm)"})
    assert len(parts_of(read_record(tmp_path / "record", wanted=RESISTANCES, columns=columns))) == 3


def test_a_column_of_other_words_stays_unread(tmp_path):
    as_text(tmp_path, head="remark")
    recording = read_record(tmp_path / "record", wanted=RESISTANCES)
    assert list(recording.channels) == ["resistance_ohm", "temperature_c"]
    assert recording.oddities[0] == "Columns not read, because their heads name no known quantity: “remark”."


def test_a_row_without_a_name_is_refused(tmp_path):
    as_text(tmp_path, rows=[("A", 1.0), ("", 1.1)])
    with pytest.raises(NotANumber, match="Row 3: the column “phase” holds nothing"):
        read_record(tmp_path / "record", wanted=RESISTANCES)


def test_phases_in_rows_have_an_unbalance():
    """By hand: means 1.01, 1.10, 1.20 Ω; (1.20 − 1.01)/(3.31/3) = 17.22 %."""
    codes, names = coded([name for name, _ in ROWS])
    recording = Recording(np.empty(0), {"part": codes, "resistance_ohm": np.array([v for _, v in ROWS])}, names)
    step = {
        "kind": "winding_resistance",
        "criteria": [
            {"quantity": "resistance_unbalance_pct", "max": 20},
            {"quantity": "resistance_ohm", "max": 1.15},
        ],
    }
    unbalance, resistance = evaluate(step, [recording]).findings
    assert unbalance.value == pytest.approx(100 * 3 * (1.20 - 1.01) / 3.31)
    assert "“A” 1.01, “B” 1.1, “C” 1.2 Ω" in unbalance.reason
    assert (resistance.value, resistance.verdict) == (pytest.approx(1.2), "does_not_conform")
    assert resistance.reason.startswith("“C”: the mean of 2 readings")


def test_names_that_tell_every_row_apart_name_no_parts(tmp_path):
    as_text(tmp_path, rows=[(f"reading {number}", 1.0) for number in range(25)])
    recording = read_record(tmp_path / "record", wanted=RESISTANCES)
    with pytest.raises(TooManyParts, match="25 different names"):
        parts_of(recording)
    evaluation = evaluate({"kind": "winding_resistance"}, [recording])
    assert evaluation.verdict == "not_valid"
