"""Dialects of text records, each read to the same numbers."""

from __future__ import annotations

import hashlib

import numpy as np
import pytest

from records.readers.columns import ColumnMap
from records.readers.reading import preview, read_record
from records.readers.refusals import MappingNeeded

TIME = [0.0, 0.5, 1.0, 1.5]
VOLTAGE = [1.25, 2.5, 3.75, 5.0]
CHARGE = [2.0, 4.5, 100.0, 3.0]

PLAIN = "time_s,voltage_kv,charge_pc\n0,1.25,2\n0.5,2.5,4.5\n1,3.75,100\n1.5,5,3\n"
SEMICOLON = "Zeit (s);Spannung (kV);Ladung (pC)\n0;1,25;2\n0,5;2,5;4,5\n1;3,75;100\n1,5;5;3\n"

DIALECTS = {
    "comma and point": PLAIN,
    "semicolon and decimal comma": SEMICOLON,
    "tab and decimal comma": SEMICOLON.replace(";", "\t"),
    "semicolon and point": PLAIN.replace(",", ";"),
    "vertical bar": PLAIN.replace(",", "|"),
    "padded cells": PLAIN.replace(",", " , "),
    "blanks, aligned": (
        "time_s  voltage_kv  charge_pc\n  0     1.25    2\n  0.5   2.5   4.5\n  1   3.75  100\n 1.5  5  3\n"
    ),
    "windows line ends": PLAIN.replace("\n", "\r\n"),
    "carriage returns alone": PLAIN.replace("\n", "\r"),
    "no final line end": PLAIN.rstrip("\n"),
    "trailing separators": PLAIN.replace("\n", ",\n"),
    "trailing separators in rows only": PLAIN.replace("\n", ",\n").replace("charge_pc,", "charge_pc"),
    "quoted": '"time_s","voltage_kv","charge_pc"\n"0","1.25","2"\n"0.5","2.5","4.5"\n"1","3.75","100"\n"1.5","5","3"\n',
    "decimal commas in quotes": (
        '"time_s","voltage_kv","charge_pc"\n"0","1,25","2"\n"0,5","2,5","4,5"\n"1","3,75","100"\n"1,5","5","3"\n'
    ),
    "blank lines between rows": PLAIN.replace("\n", "\n\n"),
    "blank lines at the end": PLAIN + "\n\n\n",
    "a row of units": "Time,U,Q\ns,kV,pC\n0,1.25,2\n0.5,2.5,4.5\n1,3.75,100\n1.5,5,3\n",
    "a row of bracketed units": "Time,U,Q\n[s],[kV],[pC]\n0,1.25,2\n0.5,2.5,4.5\n1,3.75,100\n1.5,5,3\n",
    "other units": "t (ms),U (V),q (nC)\n0,1250,0.002\n500,2500,0.0045\n1000,3750,0.1\n1500,5000,0.003\n",
    "minutes": "t (min),U/kV,q/pC\n0,1.25,2\n0.00833333333333333,2.5,4.5\n0.0166666666666667,3.75,100\n0.025,5,3\n",
    "exponents and signs": "time_s,voltage_kv,charge_pc\n0e0,+1.25,2E0\n5e-1,2.5e+0,4.5\n1,.375e1,1e2\n1.5,5.,3\n",
    "comments before the heads": "# Bay: 2\n# Serial: X-1\n" + PLAIN,
    "heads in a comment": "# " + PLAIN,
    "order of columns": "charge_pc,time_s,voltage_kv\n2,0,1.25\n4.5,0.5,2.5\n100,1,3.75\n3,1.5,5\n",
    "clock times": "Time,U (kV),q (pC)\n10:00:00,1.25,2\n10:00:00.5,2.5,4.5\n10:00:01,3.75,100\n10:00:01.5,5,3\n",
    "dates": (
        "Timestamp;U (kV);q (pC)\n2026-03-02T23:59:59Z;1,25;2\n2026-03-02T23:59:59.5Z;2,5;4,5\n"
        "2026-03-03T00:00:00Z;3,75;100\n2026-03-03T00:00:00.5Z;5;3\n"
    ),
    "midnight": "Time,U (kV),q (pC)\n23:59:59,1.25,2\n23:59:59.5,2.5,4.5\n00:00:00,3.75,100\n00:00:00.5,5,3\n",
    "a column of text beside": (
        "time_s,voltage_kv,charge_pc,Remark\n0,1.25,2,start\n0.5,2.5,4.5,\n1,3.75,100,spike\n1.5,5,3,\n"
    ),
}


def assert_read(recording):
    np.testing.assert_allclose(recording.time_s, TIME, rtol=1e-12, atol=1e-12)
    np.testing.assert_allclose(recording.channels["voltage_kv"], VOLTAGE, rtol=1e-14)
    np.testing.assert_allclose(recording.channels["charge_pc"], CHARGE, rtol=1e-14)


@pytest.mark.parametrize("name", DIALECTS)
def test_each_dialect_gives_the_same_numbers(name, tmp_path):
    path = tmp_path / "record.csv"
    path.write_bytes(DIALECTS[name].encode())
    assert_read(read_record(path, needed=("time_s", "voltage_kv", "charge_pc")))


@pytest.mark.parametrize("codec", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "latin-1"])
@pytest.mark.parametrize("text", [PLAIN, "# Prüfer: Müller\n" + SEMICOLON, "t (µs),U (V)\n1,2\n2,3\n3,4\n"])
def test_encodings(codec, text, tmp_path):
    path = tmp_path / "record.csv"
    path.write_bytes(text.encode(codec))
    recording = read_record(path)
    if "µ" in text:
        np.testing.assert_allclose(recording.time_s, [1e-6, 2e-6, 3e-6])
    else:
        assert_read(recording)
    if "Prüfer" in text:
        assert recording.metadata == {"Prüfer": "Müller"}


def test_the_digest_is_that_of_the_bytes(tmp_path):
    path = tmp_path / "record.csv"
    path.write_bytes(PLAIN.encode())
    recording = read_record(path)
    assert recording.sha256 == hashlib.sha256(PLAIN.encode()).hexdigest()
    assert (recording.rows, recording.duration_s) == (4, 1.5)


def test_metadata_before_the_heads_is_kept(tmp_path):
    path = tmp_path / "record.csv"
    path.write_text("Operator: A. Example\nBay;2\nGain=10 dB\n\nTime (s);U (kV)\n0;1\n1;2\n2;3\n", encoding="utf-8")
    assert read_record(path).metadata == {"Operator": "A. Example", "Bay": "2", "Gain": "10 dB"}


def test_the_first_stamp_is_kept(tmp_path):
    path = tmp_path / "record.csv"
    path.write_text(DIALECTS["dates"], encoding="utf-8")
    assert read_record(path).metadata["start"] == "2026-03-02T23:59:59Z"


@pytest.mark.parametrize(
    ("text", "oddity"),
    [
        (DIALECTS["midnight"], "The clock passed midnight; a day was added from there on."),
        (
            DIALECTS["dates"].replace("2026-03", "1970-01"),
            "The date of the first sample, 02 Jan 1970, cannot be: the recorder's clock was not set.",
        ),
        (DIALECTS["carriage returns alone"], "Lines end in carriage returns alone."),
        (
            DIALECTS["a column of text beside"],
            "Columns not read, because their heads name no known quantity: “Remark”.",
        ),
        ("time_s,voltage_kv\n0,1\n0,2\n1,3\n2,4\n", "1 rows carry the same time as the row before them."),
        (
            "time_s,voltage_kv\n0,1\n1,2\n2,3\n60,4\n61,4\n",
            "1 gaps in the samples; the longest is 58 s after 2 s, where the usual interval is 1 s.",
        ),
        (
            PLAIN.rstrip("\n"),
            "The last row has no line end; if the file was cut off, its last value may have lost digits.",
        ),
    ],
)
def test_oddities_are_told(text, oddity, tmp_path):
    path = tmp_path / "record.csv"
    path.write_bytes(text.encode())
    assert oddity in read_record(path).oddities


def test_a_sound_file_has_no_oddities(tmp_path):
    path = tmp_path / "record.csv"
    path.write_bytes(PLAIN.encode())
    assert read_record(path).oddities == ()


def test_integers_that_become_decimals_far_down_keep_their_decimals(tmp_path):
    path = tmp_path / "record.csv"
    rows = "".join(f"{i},{i}\n" for i in range(20_000)) + "20000,0.5\n"
    path.write_text("time_s,voltage_kv\n" + rows, encoding="utf-8")
    recording = read_record(path)
    assert (recording.rows, recording.channels["voltage_kv"][-1]) == (20_001, 0.5)


def test_seventeen_digits_are_read_exactly(tmp_path):
    values = np.random.default_rng(5).uniform(0, 40, 2000)
    path = tmp_path / "record.csv"
    path.write_text("time_s,voltage_kv\n" + "".join(f"{i},{v:.17g}\n" for i, v in enumerate(values)), encoding="utf-8")
    np.testing.assert_array_equal(read_record(path).channels["voltage_kv"], values)


def test_a_person_maps_what_the_heads_do_not_tell(tmp_path):
    path = tmp_path / "record.csv"
    path.write_text("T,CH1,CH2\n0,1250,2\n0.5,2500,4.5\n1,3750,100\n1.5,5000,3\n", encoding="utf-8")
    with pytest.raises(MappingNeeded) as caught:
        read_record(path)
    columns = caught.value.preview.columns
    assert [(c.number, c.head, c.channel, c.samples[:2]) for c in columns] == [
        (1, "T", None, ("0", "0.5")),
        (2, "CH1", None, ("1250", "2500")),
        (3, "CH2", None, ("2", "4.5")),
    ]
    mapping = ColumnMap.from_dict({"time_s": "T", "voltage_kv": {"column": "CH1", "unit": "V"}, "charge_pc": "CH2"})
    assert_read(read_record(path, columns=mapping))


def test_columns_without_heads_are_mapped_by_number(tmp_path):
    path = tmp_path / "record.csv"
    path.write_text("0,1.25,2\n0.5,2.5,4.5\n1,3.75,100\n1.5,5,3\n", encoding="utf-8")
    with pytest.raises(MappingNeeded):
        read_record(path)
    mapping = ColumnMap.from_dict({"time_s": "column 1", "voltage_kv": "column 2", "charge_pc": "Column 3"})
    assert_read(read_record(path, columns=mapping))


def test_a_mapping_goes_before_the_heads(tmp_path):
    path = tmp_path / "record.csv"
    path.write_text("time_s,voltage_kv,CH2\n0,9,1.25\n0.5,9,2.5\n1,9,3.75\n", encoding="utf-8")
    recording = read_record(path, columns=ColumnMap.from_dict({"voltage_kv": "CH2"}))
    np.testing.assert_allclose(recording.channels["voltage_kv"], VOLTAGE[:3])


def test_the_unit_of_the_file_counts_where_the_mapping_states_none(tmp_path):
    path = tmp_path / "record.csv"
    path.write_text("T [ms],CH1 [V]\n0,1250\n500,2500\n1000,3750\n", encoding="utf-8")
    recording = read_record(path, columns=ColumnMap.from_dict({"time_s": "T [ms]", "voltage_kv": "CH1 [V]"}))
    np.testing.assert_allclose(recording.time_s, TIME[:3])
    np.testing.assert_allclose(recording.channels["voltage_kv"], VOLTAGE[:3])


def test_two_voltages_are_asked_about(tmp_path):
    path = tmp_path / "record.csv"
    path.write_text("time_s,Voltage (kV),U (kV)\n0,1,1\n1,2,2\n2,3,3\n", encoding="utf-8")
    with pytest.raises(MappingNeeded) as caught:
        read_record(path)
    assert caught.value.preview.doubts == ("“Voltage (kV)” and “U (kV)” could both be voltage_kv.",)


def test_preview_tells_what_was_understood(tmp_path):
    path = tmp_path / "record.csv"
    path.write_bytes(("Bay: 2\n" + SEMICOLON).encode("utf-16"))
    seen = preview(path)
    assert (seen.encoding, seen.separator, seen.decimal, seen.first_row) == ("utf-16-le", "semicolon", ",", 3)
    assert [column.channel for column in seen.columns] == ["time_s", "voltage_kv", "charge_pc"]
    assert (seen.unresolved, seen.missing) == ((), ())
    assert type(seen).from_dict(seen.as_dict()) == seen
