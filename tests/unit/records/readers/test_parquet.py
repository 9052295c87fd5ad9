"""Parquet: numbers of every width, dates and durations, gaps refused with their row."""

from __future__ import annotations

import datetime as dt

import numpy as np
import polars as pl
import pytest

from records.readers.columns import ColumnMap
from records.readers.kept import read_arrays, write_arrays
from records.readers.reading import read_record
from records.readers.recording import Limits
from records.readers.refusals import MappingNeeded, NotANumber, RecordDamaged, RecordEmpty, RecordTooLarge
from tests.recordfiles import parquet_bytes


def read(room, held, **how):
    (room / "record").write_bytes(parquet_bytes(held))
    return read_record(room / "record", **how)


@pytest.mark.parametrize("kind", [pl.Int8, pl.UInt16, pl.Int32, pl.Int64, pl.Float32, pl.Float64])
def test_numbers_of_every_width(kind, tmp_path):
    recording = read(tmp_path, {"t (ms)": range(4), "U (V)": pl.Series([0, 10, 20, 30], dtype=kind)})
    np.testing.assert_allclose(recording.time_s, [0, 0.001, 0.002, 0.003])
    np.testing.assert_allclose(recording.channels["voltage_kv"], [0, 0.01, 0.02, 0.03])


def test_dates_clock_times_and_durations(tmp_path):
    start, half = dt.datetime(2026, 3, 2, 12, 0, 0), dt.timedelta(milliseconds=500)
    stamps = [start + n * half for n in range(4)]
    for cells in (stamps, [stamp.time() for stamp in stamps], [n * half for n in range(4)]):
        recording = read(tmp_path, {"Time": cells, "U (kV)": range(4)})
        np.testing.assert_allclose(recording.time_s, [0, 0.5, 1, 1.5])


def test_text_stamps(tmp_path):
    stamps = [f"2026-03-02T10:00:0{n}Z" for n in range(4)]
    np.testing.assert_allclose(read(tmp_path, {"Time": stamps, "U (kV)": range(4)}).time_s, [0, 1, 2, 3])


def test_gaps_and_text_are_refused_with_their_row(tmp_path):
    with pytest.raises(NotANumber, match="Row 3: “U \\(kV\\)” holds nothing") as caught:
        read(tmp_path, {"time_s": range(4), "U (kV)": [1, 2, None, 4]})
    assert caught.value.row == 3
    with pytest.raises(NotANumber, match="Row 2: “U \\(kV\\)” holds nan"):
        read(tmp_path, {"time_s": range(4), "U (kV)": [1.0, float("nan"), 3.0, 4.0]})
    with pytest.raises(NotANumber, match="Row 1: “U \\(kV\\)” holds String"):
        read(tmp_path, {"time_s": range(4), "U (kV)": ["a", "b", "c", "d"]})


def test_large_integers_are_told(tmp_path):
    said = read(tmp_path, {"time_s": range(4), "U (kV)": [1, 2, 3, 2**60 + 1]}).oddities
    assert said == (f"“U (kV)” holds integers up to {2**60 + 1}, which were rounded to doubles.",)


def test_mapping_limits_and_damage(tmp_path):
    held = {"A": [0.0, 1.0, 2.0, 3.0], "B": [1.0, 2.0, 3.0, 4.0]}
    with pytest.raises(MappingNeeded, match="“A”, “B”"):
        read(tmp_path, held)
    mapping = ColumnMap.from_dict({"time_s": "A", "voltage_kv": "B"})
    assert read(tmp_path, held, columns=mapping).channels["voltage_kv"][3] == 4
    with pytest.raises(RecordTooLarge, match="4 rows; the limit is 3"):
        read(tmp_path, held, columns=mapping, limits=Limits(max_rows=3))
    with pytest.raises(RecordEmpty, match="no rows"):
        read(tmp_path, {"time_s": [], "voltage_kv": []})
    content = (tmp_path / "record").read_bytes()
    (tmp_path / "record").write_bytes(content[: len(content) // 2])
    with pytest.raises(RecordDamaged, match="is damaged or of a variety that is not read"):
        read_record(tmp_path / "record")


def test_arrays_are_kept_bit_for_bit(tmp_path):
    values = np.random.default_rng(7).standard_normal(1000) * 10.0 ** np.arange(-150, 150, 0.3)
    write_arrays(tmp_path / "kept", {"time_s": np.empty(0), "frequency_hz": np.arange(1000.0), "gain_db": values})
    names = ["time_s", "frequency_hz", "gain_db"]
    kept = read_arrays(tmp_path / "kept", names)
    assert list(kept) == names
    assert len(kept["time_s"]) == 0
    np.testing.assert_array_equal(kept["gain_db"], values)
