"""Text tables with one odd thing each, found by trying them by hand: read rightly, or refused in words."""

from __future__ import annotations

import numpy as np
import pytest

from records.readers.reading import read_record
from records.readers.refusals import ColumnMissing, NotANumber
from records.readers.wanted import WANTED_BY_KIND

WITHSTAND = WANTED_BY_KIND["power_frequency_withstand"]


def read(room, text, wanted=WITHSTAND, encoding="utf-8"):
    path = room / "record.csv"
    path.write_bytes(text.encode(encoding))
    return read_record(path, wanted=wanted)


def table(cells, head="Time [s];Voltage [V]"):
    return "\n".join([head, *(f"0,{place};{cell}" for place, cell in enumerate(cells, start=1)), ""])


@pytest.mark.parametrize("long", [False, True])
def test_a_point_among_decimal_commas_is_no_fraction(tmp_path, long):
    """1.000 is a thousand there, and was read as 1."""
    cells = ["500,5", "800,5", "1.000", "900,5"] + ["1,5"] * (400_000 if long else 0)
    with pytest.raises(NotANumber, match=r"Row 4: .*“1\.000”, with a point where the file has decimal commas"):
        read(tmp_path, table(cells))


def test_a_point_in_a_column_that_is_not_read_is_no_matter(tmp_path):
    text = "Time [s];Voltage [V];Remark\n0,1;1,5;a.b\n0,2;2,5;a.b\n0,3;3,5;c\n"
    assert read(tmp_path, text).channels["voltage_kv"].tolist() == pytest.approx([1.5e-3, 2.5e-3, 3.5e-3], rel=1e-15)


@pytest.mark.parametrize(
    ("cell", "words"), [("1e400", "holds 1e400, which is no measured value"), ("１０.000", "the text “１０.000”")]
)
def test_what_is_no_double_is_named_with_its_row(tmp_path, cell, words):
    with pytest.raises(NotANumber, match=rf"^Row 3: .*{words}"):
        read(tmp_path, f"Time [s],Voltage [kV]\n0.1,1\n0.2,{cell}\n0.3,1\n")


@pytest.mark.parametrize("said", ["Sampling interval: 0.25 s", "Sample rate,4 Hz", "dt = 250 ms"])
@pytest.mark.parametrize("mark", [".", ","])
def test_one_column_with_a_stated_interval_has_its_times_counted(tmp_path, said, mark):
    text = "\n".join([said, "Voltage [kV]", *(f"{value:.2f}".replace(".", mark) for value in (1.5, 2.5, 3.5)), ""])
    recording = read(tmp_path, text)
    np.testing.assert_allclose(recording.time_s, [0, 0.25, 0.5], rtol=1e-15)
    assert recording.channels["voltage_kv"].tolist() == [1.5, 2.5, 3.5]
    assert any("counted by its stated interval of 0.25 s" in odd for odd in recording.oddities)


def test_one_column_without_an_interval_is_refused_with_the_mend(tmp_path):
    with pytest.raises(ColumnMissing, match=r"no column for the time; .*Sampling interval: 0\.1 s"):
        read(tmp_path, "Voltage [kV]\n1.5\n2.5\n3.5\n")


def test_one_column_is_enough_for_a_table_of_readings(tmp_path):
    recording = read(tmp_path, "Resistance [mOhm]\n420,5\n421,5\n", WANTED_BY_KIND["winding_resistance"])
    assert recording.channels["resistance_ohm"].tolist() == pytest.approx([0.4205, 0.4215], rel=1e-15)


def test_times_of_a_file_go_before_a_stated_interval(tmp_path):
    recording = read(tmp_path, "Sampling interval: 0.1 s\nTime [s],Voltage [kV]\n0,1\n1,2\n2,3\n")
    assert recording.time_s.tolist() == [0, 1, 2]
