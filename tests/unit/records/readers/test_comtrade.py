"""COMTRADE: three revisions, four layouts, and the traps that real files set."""

from __future__ import annotations

import hashlib
import math

import numpy as np
import pytest

from records.readers.columns import ColumnMap
from records.readers.reading import preview, read_record
from records.readers.recording import Limits
from records.readers.refusals import (
    ColumnsDiffer,
    CompanionMissing,
    MappingNeeded,
    NotANumber,
    RecordDamaged,
    RecordTooLarge,
    RecordTruncated,
)
from tests.recordfiles import comtrade_configuration, comtrade_data, comtrade_single, write_pair

STORED = [0, 1250, -2500, 3750, 5000]
VOLTAGE = [0.0, 1.25, -2.5, 3.75, 5.0]
ROWS = [(value,) for value in STORED]


@pytest.mark.parametrize("kind", ["ASCII", "BINARY", "BINARY32", "FLOAT32"])
@pytest.mark.parametrize("revision", ["1999", "2013"])
def test_each_layout_gives_the_same_numbers(kind, revision, tmp_path):
    first, second = write_pair(tmp_path, kind, ROWS, revision=revision)
    for path, companion in ((first, second), (second, first)):
        recording = read_record(path, companion=companion)
        np.testing.assert_allclose(recording.time_s, [0, 0.001, 0.002, 0.003, 0.004], rtol=1e-15)
        np.testing.assert_allclose(recording.channels["voltage_kv"], VOLTAGE, rtol=1e-15)
    assert recording.metadata["revision"] == revision
    assert recording.metadata["data"] == kind
    assert recording.oddities == ()


@pytest.mark.parametrize("kind", ["ASCII", "BINARY", "BINARY32", "FLOAT32"])
def test_a_single_file_gives_the_same_numbers(kind, tmp_path):
    text = comtrade_configuration(kind, samples=5, revision="2013")
    (tmp_path / "record").write_bytes(comtrade_single(kind, text, comtrade_data(kind, ROWS)))
    np.testing.assert_allclose(read_record(tmp_path / "record").channels["voltage_kv"], VOLTAGE, rtol=1e-15)


def test_the_first_revision_has_no_year_no_ratio_and_the_month_first(tmp_path):
    dates = ("12/25/99,10:00:00.000000", "12/25/99,10:00:00.002000")
    first, second = write_pair(tmp_path, "ASCII", ROWS, revision="", dates=dates)
    recording = read_record(first, companion=second)
    np.testing.assert_allclose(recording.channels["voltage_kv"], VOLTAGE)
    assert (recording.metadata["revision"], recording.oddities) == ("1991", ())


def test_the_digest_of_a_pair_is_over_both(tmp_path):
    first, second = write_pair(tmp_path, "BINARY", ROWS)
    parts = "".join(hashlib.sha256(path.read_bytes()).hexdigest() for path in (first, second))
    assert read_record(first, companion=second).sha256 == hashlib.sha256(parts.encode()).hexdigest()


def test_factor_offset_unit_and_side(tmp_path):
    analogs = (("VA", "V", 0.5, 10.0, 12000, 120, "S"),)
    first, second = write_pair(tmp_path, "BINARY", [(0,), (100,), (-100,)], analogs=analogs)
    recording = read_record(first, companion=second)
    # (0.5 × 100 + 10) V on the secondary side, × 12000 / 120, in kV
    np.testing.assert_allclose(recording.channels["voltage_kv"], [1.0, 6.0, -4.0], rtol=1e-14)
    assert "“VA” is stored as on the secondary side; it was multiplied by 12000 / 120." in recording.oddities


def test_digital_channels_can_be_mapped(tmp_path):
    names = [f"D{number}" for number in range(1, 19)]
    bits = [[int(place == row) for place in range(18)] for row in range(3)]
    bits[2][17] = 1
    first, second = write_pair(tmp_path, "BINARY", [(1,), (2,), (3,)], digitals=names, bits=bits)
    mapping = ColumnMap.from_dict({"gated": "D18"})
    recording = read_record(first, companion=second, columns=mapping)
    np.testing.assert_array_equal(recording.channels["gated"], [0, 0, 1])


def test_time_stamps_tell_where_no_rate_is_declared(tmp_path):
    first, second = write_pair(tmp_path, "BINARY", ROWS, rates=(), stamps=[100, 1350, 2600, 5100, 5200], factor="2")
    recording = read_record(first, companion=second)
    np.testing.assert_allclose(recording.time_s, [0, 0.0025, 0.005, 0.01, 0.0102], rtol=1e-12)
    assert "No sampling rate is declared; the time stamps were used." in recording.oddities


def test_dates_with_more_digits_mean_stamps_in_nanoseconds(tmp_path):
    dates = ("02/03/2026,10:00:00.000000000", "02/03/2026,10:00:00.000000000")
    first, second = write_pair(
        tmp_path, "BINARY", ROWS, rates=(), stamps=[0, 10, 20, 30, 40], dates=dates, revision="2013"
    )
    np.testing.assert_allclose(read_record(first, companion=second).time_s, np.arange(5) * 1e-8, rtol=1e-12)


def test_neither_rate_nor_stamps(tmp_path):
    first, second = write_pair(tmp_path, "BINARY", ROWS, rates=(), stamps=[0, 1, 0xFFFFFFFF, 3, 4])
    with pytest.raises(RecordDamaged, match="declares no sampling rate, and not every sample has a time stamp"):
        read_record(first, companion=second)


def test_stamps_that_pass_the_end_of_their_range_go_on(tmp_path):
    stamps = [2**32 - 2000, 2**32 - 1000, 0, 1000, 2000]
    first, second = write_pair(tmp_path, "BINARY", ROWS, rates=(), stamps=stamps)
    np.testing.assert_allclose(read_record(first, companion=second).time_s, np.arange(5) * 1e-3, rtol=1e-9)


def test_a_changing_rate(tmp_path):
    first, second = write_pair(tmp_path, "BINARY", ROWS, rates=((1000, 3), (10, 5)))
    recording = read_record(first, companion=second)
    np.testing.assert_allclose(recording.time_s, [0, 0.001, 0.002, 0.102, 0.202], rtol=1e-12)
    assert "The sampling rate changes: 1000 a second up to sample 3, 10 a second up to sample 5." in recording.oddities


def test_stamps_that_contradict_the_rate_are_told(tmp_path):
    first, second = write_pair(tmp_path, "BINARY", ROWS, stamps=[0, 2000, 4000, 6000, 8000])
    recording = read_record(first, companion=second)
    assert recording.time_s[-1] == pytest.approx(0.004)
    assert (
        "By the declared rate sample 5 is at 0.004 s, by its time stamp at 0.008 s. The declared rate was used."
        in recording.oddities
    )


def test_skipped_sample_numbers_leave_a_gap(tmp_path):
    rows = [(value,) for value in range(40)]
    numbers = [*range(1, 21), *range(23, 43)]
    first, second = write_pair(tmp_path, "BINARY", rows, numbers=numbers, rates=((1000, 42),))
    recording = read_record(first, companion=second)
    assert recording.time_s[20] - recording.time_s[19] == pytest.approx(0.003)
    assert "2 sample numbers are skipped, the first after 20." in recording.oddities
    assert "About 2 samples are missing at 1 places, the first after 0.019 s." in recording.oddities


@pytest.mark.parametrize(
    ("kind", "missing"),
    [("ASCII", 99999), ("ASCII", None), ("BINARY", -(2**15)), ("BINARY32", -(2**31)), ("FLOAT32", math.nan)],
)
def test_missing_samples_are_left_out_and_told(kind, missing, tmp_path):
    rows = [(1000,), (missing,), (3000,), (4000,), (5000,)]
    first, second = write_pair(tmp_path, kind, rows)
    recording = read_record(first, companion=second)
    np.testing.assert_allclose(recording.channels["voltage_kv"], [1, 3, 4, 5])
    np.testing.assert_allclose(recording.time_s, [0, 0.002, 0.003, 0.004])
    assert "1 samples are marked as missing, the first at 0.001 s; left out." in recording.oddities


def test_another_code_page_is_told(tmp_path):
    first, second = write_pair(tmp_path, "ASCII", ROWS)
    first.write_bytes(first.read_text(encoding="utf-8").replace("Bay 2", "Estação").encode("latin-1"))
    recording = read_record(first, companion=second)
    assert recording.metadata["station"] == "Estação"
    assert any(said.startswith("Names are not in UTF-8") for said in recording.oddities)


def test_blank_lines_and_end_marks_are_passed_over(tmp_path):
    first, second = write_pair(tmp_path, "ASCII", ROWS)
    first.write_bytes(first.read_bytes().replace(b"\r\n", b"\r\n\r\n") + b"\x1a\x1a")
    second.write_bytes(second.read_bytes().replace(b"\r\n", b"\r\n\r\n"))
    np.testing.assert_allclose(read_record(first, companion=second).channels["voltage_kv"], VOLTAGE)


@pytest.mark.parametrize(
    ("dates", "words"),
    [
        (("01/01/1970,00:00:00.0", "01/01/1970,00:00:00.0"), "The date of the trigger, 01 Jan 1970, cannot be"),
        (("31/02/2020,00:00:00.0", "01/03/2020,00:00:00.0"), "“31/02/2020,00:00:00.0”, cannot be."),
        (("12/25/2020,00:00:00.0", "12/25/2020,00:00:00.0"), "has day and month exchanged."),
        (("02/03/2026,10:00:00.0", "02/03/2026,11:00:00.0"), "lies outside the record"),
        (("yesterday", "02/03/2026,11:00:00.0"), "“yesterday”, is no date."),
    ],
)
def test_dates_that_cannot_be_are_told(dates, words, tmp_path):
    first, second = write_pair(tmp_path, "BINARY", ROWS, dates=dates)
    assert any(words in said for said in read_record(first, companion=second).oddities)


def test_a_frequency_other_than_the_one_declared_is_told(tmp_path):
    wave = [(round(20000 * math.sin(2 * math.pi * 60 * place / 1000)),) for place in range(500)]
    first, second = write_pair(tmp_path, "BINARY", wave)
    assert "The file declares 50 Hz; voltage_kv has 60 Hz." in read_record(first, companion=second).oddities
    first, second = write_pair(tmp_path, "BINARY", wave, line_hz="60")
    assert read_record(first, companion=second).oddities == ()


def test_samples_at_the_end_of_the_converter_are_told(tmp_path):
    wave = [(max(-32767, min(32767, round(50000 * math.sin(place / 10)))),) for place in range(500)]
    first, second = write_pair(tmp_path, "BINARY", wave, line_hz="0")
    said = read_record(first, companion=second).oddities
    assert any("stands at the end of the converter's range" in words for words in said)
    assert any(words.startswith("voltage_kv is cut off at") for words in said)


def test_three_phases_are_asked_about(tmp_path):
    analogs = tuple((name, "kV", 1, 0, 1, 1, "P") for name in ("VA", "VB", "VC"))
    first, second = write_pair(tmp_path, "BINARY", [(1, 2, 3)] * 3, analogs=analogs)
    with pytest.raises(MappingNeeded) as caught:
        read_record(first, companion=second)
    assert caught.value.preview.doubts == ("“VA” and “VB” and “VC” could both be voltage_kv.",)
    assert [column.head for column in caught.value.preview.columns] == ["Time", "VA", "VB", "VC"]
    recording = read_record(first, companion=second, columns=ColumnMap.from_dict({"voltage_kv": "VB"}))
    np.testing.assert_array_equal(recording.channels["voltage_kv"], [2, 2, 2])


def test_the_preview_shows_values_and_not_stored_words(tmp_path):
    first, second = write_pair(tmp_path, "BINARY", ROWS)
    seen = preview(first, companion=second)
    assert seen.columns[1].samples == ("0", "1.25", "-2.5", "3.75", "5")
    assert seen.columns[1].values[1] == "1.25 kV"
    assert "COMTRADE record of revision 1999, BINARY data, 1 analog and 0 digital channels" in seen.how
    assert type(seen).from_dict(seen.as_dict()) == seen


def test_a_configuration_alone_asks_for_its_data(tmp_path):
    first, second = write_pair(tmp_path, "BINARY", ROWS)
    with pytest.raises(CompanionMissing, match=r"its samples are in the data file \(\.dat\)"):
        read_record(first)
    (tmp_path / "other.csv").write_text("a,b\n1,2\n", encoding="utf-8")
    with pytest.raises(CompanionMissing, match="neither is the configuration"):
        read_record(second, companion=tmp_path / "other.csv")


def test_fewer_samples_than_declared_are_refused_and_more_are_told(tmp_path):
    first, second = write_pair(tmp_path, "BINARY", ROWS, rates=((1000, 6),))
    with pytest.raises(RecordTruncated, match="declares 6 samples, but the data hold 5"):
        read_record(first, companion=second)
    first, second = write_pair(tmp_path, "BINARY", ROWS, rates=((1000, 4),))
    said = read_record(first, companion=second).oddities
    assert "The configuration declares 4 samples; the data hold 5, and all were read." in said


def test_data_cut_off(tmp_path):
    first, second = write_pair(tmp_path, "BINARY", ROWS)
    second.write_bytes(second.read_bytes()[:-3])
    with pytest.raises(RecordTruncated, match="no multiple of the 10 that one sample takes"):
        read_record(first, companion=second)
    first, second = write_pair(tmp_path, "ASCII", ROWS)
    second.write_bytes(second.read_bytes().rstrip(b"\x1a\r\n").rsplit(b",", 1)[0])
    with pytest.raises(RecordTruncated, match=r"columns"):
        read_record(first, companion=second)
    text = comtrade_configuration("BINARY", samples=5, revision="2013")
    whole = comtrade_single("BINARY", text, comtrade_data("BINARY", ROWS))
    (tmp_path / "single").write_bytes(whole[:-3])
    with pytest.raises(RecordTruncated, match="have 47 bytes of 50"):
        read_record(tmp_path / "single")


def test_text_among_the_data_is_refused_with_its_row(tmp_path):
    first, second = write_pair(tmp_path, "ASCII", [(1,), (2,), ("OVL",), (4,)])
    with pytest.raises(NotANumber, match="Row 3 of the data holds “OVL” in column 3") as caught:
        read_record(first, companion=second)
    assert caught.value.row == 3
    first, second = write_pair(tmp_path, "ASCII", [(1,), (2,), (3, 9), (4,)])
    with pytest.raises(ColumnsDiffer, match="Row 3 of the data has 4 columns; the configuration asks for 3"):
        read_record(first, companion=second)


@pytest.mark.parametrize(
    ("old", "new", "refusal", "words"),
    [
        ("1,1A,0D", "999999,999999A,0D", RecordDamaged, "Row 4 of the configuration"),
        ("1,1A,0D", "1,1A,3D", RecordDamaged, "says that there are 1"),
        ("1,1A,0D", "0,0A,0D", RecordDamaged, "no number of sampling rates|is no"),
        ("1000,5", "1000,999999999999", RecordTruncated, "declares 999999999999 samples, but the data hold 5"),
        ("1000,5", "-5,5", RecordDamaged, "cannot be"),
        ("0.001", "1e999", RecordDamaged, "Row 3 of the configuration: “1e999” is no factor of a channel"),
        ("BINARY", "BINARY64", RecordDamaged, "“BINARY64” is no type of data file"),
        ("\r\n1\r\n1000", "\r\n987654321\r\n1000", RecordDamaged, "987654321 is no number of sampling rates"),
    ],
)
def test_a_configuration_that_lies(old, new, refusal, words, tmp_path):
    first, second = write_pair(tmp_path, "BINARY", ROWS)
    text = first.read_bytes().decode()
    assert old in text
    first.write_bytes(text.replace(old, new, 1).encode())
    with pytest.raises(refusal, match=words):
        read_record(first, companion=second)


def test_more_samples_than_the_limit(tmp_path):
    first, second = write_pair(tmp_path, "BINARY", ROWS)
    with pytest.raises(RecordTooLarge, match="5 rows; the limit is 4"):
        read_record(first, companion=second, limits=Limits(max_rows=4))


def test_a_single_file_whose_parts_disagree(tmp_path):
    text = comtrade_configuration("BINARY32", samples=5, revision="2013")
    (tmp_path / "record").write_bytes(comtrade_single("BINARY", text, comtrade_data("BINARY", ROWS)))
    with pytest.raises(RecordDamaged, match="calls its data BINARY and its configuration calls them BINARY32"):
        read_record(tmp_path / "record")
    (tmp_path / "record").write_bytes(b"--- file type: CFG ---\r\n" + text.encode())
    with pytest.raises(RecordDamaged, match="no section of configuration, or none of data"):
        read_record(tmp_path / "record")
