"""Times as clocks write them: of day, with twelve hours, elapsed; what may be two things is asked, never guessed."""

from __future__ import annotations

import numpy as np
import pytest

from records.readers.columns import ColumnMap
from records.readers.reading import read_record
from records.readers.refusals import BadColumnMap, MappingNeeded, NoTable, NotANumber
from records.readers.wanted import WANTED_BY_KIND

INSULATION = WANTED_BY_KIND["insulation_resistance"]


def read(room, times, head="Time", unit=None, wanted=INSULATION, **options):
    """Return what is read of a table of these times; `unit` stands in a row of its own."""
    rows = [f"{head};R (MΩ)" if unit is None else f"{head};R", *([] if unit is None else [f"{unit};MΩ"])]
    rows += [f"{time};{100 + place}" for place, time in enumerate(times)]
    path = room / "record.csv"
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return read_record(path, wanted=wanted, **options)


# Times in seconds from the first, by arithmetic: 1 h = 3600 s, 1 min = 60 s, 12 AM = 0 h, 12 PM = 12 h.
CLEAR = {
    "evening of twelve hours": (["10:05:30 PM", "10:05:31 PM", "10:06:30 pm"], [0, 1, 60]),
    "noon of twelve hours": (["11:59:59 AM", "12:00:00 PM", "01:00:00 PM"], [0, 1, 3601]),
    "midnight of twelve hours": (["11:59:59 p.m.", "12:00:00 a.m.", "12:00:01 a.m."], [0, 1, 2]),
    "twelve hours without seconds": (["9:58 AM", "9:59AM", "10:00 AM"], [0, 60, 120]),
    "a date with twelve hours": (["2026-03-02 11:59:59 PM", "2026-03-03 12:00:00 AM", "2026-03-03 12:01:00 AM"],
        [0, 1, 61]),
    "elapsed": (["0:00:00", "0:00:59.5", "0:01:00", "1:00:00"], [0, 59.5, 60, 3600]),
    "elapsed beyond a day": (["23:59:59", "24:00:00", "100:00:00"], [0, 1, 100 * 3600 - 86_399]),
    "minutes with a fraction": (["00:15.0", "00:30.5", "01:00.0", "10:00.0"], [0, 15.5, 45, 585]),
    "minutes with a comma": (["00:15,0", "00:30,5", "01:00,0"], [0, 15.5, 45]),
    "minutes that pass 23": (["00:15", "22:59", "23:59", "24:00", "60:00"], [0, 1364, 1424, 1425, 3585]),
}  # fmt: skip


@pytest.mark.parametrize("name", CLEAR)
def test_what_can_be_one_thing_only_is_read(name, tmp_path):
    times, seconds = CLEAR[name]
    np.testing.assert_allclose(read(tmp_path, times).time_s, seconds, atol=1e-6)


@pytest.mark.parametrize(
    ("head", "unit", "factor"),
    [
        ("Time (min:s)", None, 1),
        ("Elapsed [mm:ss]", None, 1),
        ("Time", "min:s", 1),
        ("Time", "[mm:ss]", 1),
        ("Time (hh:mm)", None, 60),
        ("Time", "h:min", 60),
        ("Clock", None, 60),
    ],
)
def test_head_or_row_of_units_says_what_two_parts_are(head, unit, factor, tmp_path):
    recording = read(tmp_path, ["00:15", "00:30", "01:00", "10:00"], head, unit)
    np.testing.assert_allclose(recording.time_s, np.array([0, 15, 45, 585]) * factor)
    np.testing.assert_allclose(recording.channels["insulation_resistance_mohm"], [100, 101, 102, 103])


@pytest.mark.parametrize(("unit", "factor"), [("min:s", 1), ("h:min", 60)])
def test_what_may_be_two_things_is_asked_and_the_mapping_answers(unit, factor, tmp_path):
    times = ["00:15", "00:30", "01:00", "10:00"]
    with pytest.raises(MappingNeeded) as asked:
        read(tmp_path, times)
    assert asked.value.message == (
        "The times, as “00:15”, may be minutes and seconds or hours and minutes. Say which by the unit of the time "
        "column: min:s or h:min."
    )
    assert asked.value.row == 2
    assert [column.head for column in asked.value.preview.columns] == ["Time", "R (MΩ)"]
    columns = ColumnMap.from_dict({"time_s": {"column": "Time", "unit": unit}})
    assert columns.as_dict() == {"time_s": {"column": "Time", "unit": unit}}
    np.testing.assert_allclose(read(tmp_path, times, columns=columns).time_s, np.array([0, 15, 45, 585]) * factor)


def test_a_clock_is_no_unit_of_numbers(tmp_path):
    columns = ColumnMap.from_dict({"time_s": {"column": "Time", "unit": "min:s"}})
    with pytest.raises(BadColumnMap, match="holds no times such as 1:30, as “min:s” says"):
        read(tmp_path, ["0.15", "0.30", "1.00"], columns=columns)
    with pytest.raises(BadColumnMap, match="is not a unit of it"):
        ColumnMap.from_dict({"voltage_kv": {"column": "U", "unit": "min:s"}})


@pytest.mark.parametrize(
    ("times", "row"),
    [
        (["10:00:00 AM", "13:00:00 PM", "10:00:02 AM"], 3),  # twelve hours have no thirteenth
        (["10:00:00", "10:75:00", "10:00:02"], 3),
        (["10:00:00", "10:00:00", "10:00:75"], 4),
        (["00:15.0", "00:75.0", "01:00.0"], 3),
    ],
)
def test_a_part_beyond_its_end_is_refused_with_its_row(times, row, tmp_path):
    with pytest.raises(NotANumber) as caught:
        read(tmp_path, times)
    assert caught.value.row == row


@pytest.mark.parametrize("separator", [";", ",", "\t"])
@pytest.mark.parametrize("is_first", [True, False])
def test_a_column_of_names_and_one_of_numbers_are_a_table(separator, is_first, tmp_path):
    rows = [("Phase", "R (mΩ)"), ("A", "421.5"), ("B", "422"), ("C", "423.25")]
    lines = [separator.join(row if is_first else row[::-1]) for row in rows]
    path = tmp_path / "record.csv"
    path.write_text("Bridge no. 7\n" + "\n".join(lines) + "\n", encoding="utf-8")
    recording = read_record(path, wanted=WANTED_BY_KIND["winding_resistance"])
    np.testing.assert_allclose(recording.channels["resistance_ohm"], [0.4215, 0.422, 0.42325])
    np.testing.assert_array_equal(recording.channels["part"], [0, 1, 2])
    assert recording.metadata["parts"] == '["A", "B", "C"]'


@pytest.mark.parametrize(
    "text",
    ["R1 min; 1500 MOhm\nR10 min; 4200 MOhm\nPI; 2.8\n", "R15s = 900 MΩ\nR60s = 1500 MΩ\nDAR = 1.67\n"],
)
def test_a_list_of_results_is_refused_with_the_mend(text, tmp_path):
    path = tmp_path / "record.txt"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(NoTable, match=r"a list of results, and no table\. Write it as a table with a row of heads"):
        read_record(path, wanted=INSULATION)
