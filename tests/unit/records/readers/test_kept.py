"""Arrays kept beside a record come back as they were, also those that an earlier version kept."""

from __future__ import annotations

import numpy as np

from records.readers.kept import read_arrays, write_arrays


def test_arrays_come_back_bit_for_bit_and_empty_ones_empty(tmp_path):
    volts = np.array([0.1, np.nextafter(0.1, 1), -0.0])
    write_arrays(tmp_path / "a.parquet", {"time_s": np.empty(0), "voltage_kv": volts})
    back = read_arrays(tmp_path / "a.parquet", ["time_s", "voltage_kv"])
    assert len(back["time_s"]) == 0
    assert back["voltage_kv"].tobytes() == volts.tobytes()


def test_what_an_earlier_version_kept_is_read(tmp_path):
    np.save(tmp_path / "a.npy", np.array([[0.0, 1.0], [2.0, 3.0]]))
    back = read_arrays(tmp_path / "a.npy", ["time_s", "voltage_kv"])
    assert back["time_s"].tolist() == [0.0, 1.0]
    assert back["voltage_kv"].tolist() == [2.0, 3.0]
