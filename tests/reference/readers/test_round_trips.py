"""A thousand random values in every format come back: integers exactly, doubles to one unit in the last place."""

from __future__ import annotations

import cmath
import math
import struct

import numpy as np
import pytest

from records.readers.columns import ColumnMap
from records.readers.reading import read_record
from records.readers.wanted import WANTED_BY_KIND, Wanted
from tests.recordfiles import (
    hdf5_bytes,
    parquet_bytes,
    sheet_xml,
    touchstone_text,
    workbook_bytes,
    write_pair,
)

COUNT = 1000
CHANCE = np.random.default_rng(20261125)
TIME = np.cumsum(CHANCE.integers(1, 1000, COUNT)).astype(float)
INTEGERS = CHANCE.integers(-(2**53), 2**53, COUNT)
DOUBLES = CHANCE.uniform(1, 10, COUNT) * 10.0 ** CHANCE.integers(-30, 30, COUNT) * CHANCE.choice([-1.0, 1.0], COUNT)
WAVE = Wanted((("time_s", "voltage_kv", "current_a"),))


def ulps(read, written):
    """Give the greatest distance in units of the last place of what was written."""
    return float(np.max(np.abs(read - written) / np.spacing(np.abs(written))))


def written(room, kind):
    """Give the path of a file in one format with times, integers as voltage and doubles as current."""
    rows = list(zip(TIME.tolist(), INTEGERS.tolist(), DOUBLES.tolist(), strict=True))
    columns = {"time_s": TIME, "voltage_kv": INTEGERS, "current_a": DOUBLES}
    heads = list(columns)
    texts = {
        "csv": lambda: ",".join(heads) + "\n" + "".join(f"{t!r},{i},{d!r}\n" for t, i, d in rows),
        "csv, 17 digits": lambda: ",".join(heads) + "\n" + "".join(f"{t:.17g},{i},{d:.17g}\n" for t, i, d in rows),
        "decimal commas": lambda: (
            ";".join(heads) + "\n" + "".join(f"{t!r};{i};{d!r}\n".replace(".", ",") for t, i, d in rows)
        ),
        "blanks": lambda: "  ".join(heads) + "\n" + "".join(f"{t!r}   {i} {d!r}\n" for t, i, d in rows),
    }
    made = {
        "spreadsheet": lambda: workbook_bytes(sheet_xml([heads, *rows])),
        "hdf5": lambda: hdf5_bytes(room, columns, compression="gzip", shuffle=True),
        "parquet": lambda: parquet_bytes(columns),
    }
    content = texts[kind]().encode() if kind in texts else made[kind]()
    (room / "record").write_bytes(content)
    return room / "record"


@pytest.mark.parametrize(
    "kind", ["csv", "csv, 17 digits", "decimal commas", "blanks", "spreadsheet", "hdf5", "parquet"]
)
def test_columns(kind, tmp_path):
    recording = read_record(written(tmp_path, kind), wanted=WAVE)
    np.testing.assert_array_equal(recording.time_s, TIME)
    np.testing.assert_array_equal(recording.channels["voltage_kv"].astype(np.int64), INTEGERS)
    assert ulps(recording.channels["current_a"], DOUBLES) <= 1


@pytest.mark.parametrize(("kind", "bits"), [("ASCII", 31), ("BINARY", 15), ("BINARY32", 31)])
def test_comtrade_integers(kind, bits, tmp_path):
    words = CHANCE.integers(-(2**bits) + 1, 2**bits - 1, COUNT)
    words[words == 99_999] = 0  # means a missing sample in text
    analogs = (("VA", "kV", 1, 0, 1, 1, "P"),)
    first, second = write_pair(tmp_path, kind, [(int(word),) for word in words], analogs=analogs, line_hz="0")
    np.testing.assert_array_equal(read_record(first, companion=second).channels["voltage_kv"].astype(int), words)


def test_comtrade_floating_point(tmp_path):
    singles = [struct.unpack("<f", struct.pack("<f", value))[0] for value in DOUBLES]
    analogs = (("VA", "kV", 1, 0, 1, 1, "P"),)
    first, second = write_pair(tmp_path, "FLOAT32", [(value,) for value in singles], analogs=analogs, line_hz="0")
    assert read_record(first, companion=second).channels["voltage_kv"].tolist() == singles


def test_comtrade_time_and_digital_channels(tmp_path):
    rate = 12_800.0
    bits = CHANCE.integers(0, 2, (COUNT, 40)).tolist()
    names = [f"D{place}" for place in range(40)]
    rows = [(place,) for place in range(COUNT)]
    first, second = write_pair(tmp_path, "BINARY", rows, digitals=names, bits=bits, rates=((rate, None),))
    for place in (0, 15, 16, 31, 32, 39):
        mapping = ColumnMap.from_dict({"gated": f"D{place}"})
        recording = read_record(first, companion=second, columns=mapping)
        assert recording.channels["gated"].tolist() == [row[place] for row in bits]
    assert ulps(recording.time_s[1:], np.arange(1, COUNT) / rate) <= 1


def circuit(frequency_hz, resistance_ohm=0.5, inductance_h=6.371e-3, capacitance_f=50e-6):
    """Give the impedance of a series circuit [Ω]."""
    omega = 2 * math.pi * frequency_hz
    return complex(resistance_ohm, omega * inductance_h - 1 / (omega * capacitance_f))


FREQUENCY = np.sort(CHANCE.uniform(10, 2000, COUNT))
GAMMA = [(circuit(f) - 50) / (circuit(f) + 50) for f in FREQUENCY]
FORMS = {
    "RI": (lambda z: (z.real, z.imag), 0.0),
    "MA": (lambda z: (abs(z), math.degrees(cmath.phase(z))), 1e-15),
    "DB": (lambda z: (20 * math.log10(abs(z)), math.degrees(cmath.phase(z))), 2e-15),
}


@pytest.mark.parametrize("form", FORMS)
def test_touchstone(form, tmp_path):
    told, tolerance = FORMS[form]
    (tmp_path / "record").write_text(
        touchstone_text(FREQUENCY, [told(z) for z in GAMMA], f"# Hz S {form} R 50"), encoding="utf-8"
    )
    recording = read_record(tmp_path / "record", wanted=WANTED_BY_KIND["frequency_response"])
    np.testing.assert_array_equal(recording.channels["frequency_hz"], FREQUENCY)
    read = recording.channels["reflection_real"] + 1j * recording.channels["reflection_imag"]
    # RI exactly; an angle in degrees and a level in dB cost a rounding each of a number of the size of 1
    np.testing.assert_allclose(read, GAMMA, rtol=0, atol=tolerance)


def test_touchstone_impedance(tmp_path):
    impedance = [circuit(f) for f in FREQUENCY]
    (tmp_path / "record").write_text(
        touchstone_text(FREQUENCY / 1000, [(z.real / 50, z.imag / 50) for z in impedance], "# kHz Z RI R 50"),
        encoding="utf-8",
    )
    recording = read_record(tmp_path / "record", wanted=WANTED_BY_KIND["frequency_response"])
    np.testing.assert_allclose(recording.channels["frequency_hz"], FREQUENCY, rtol=3e-16)
    np.testing.assert_allclose(recording.channels["impedance_imag_ohm"], [z.imag for z in impedance], rtol=5e-16)
