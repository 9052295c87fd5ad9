"""HDF5: columns found, chosen and read; what leads out of the file or grows is refused."""

from __future__ import annotations

import h5py
import numpy as np
import pytest

from records.readers.columns import ColumnMap
from records.readers.reading import read_record
from records.readers.recording import Limits
from records.readers.refusals import (
    ContentNotKnown,
    MappingNeeded,
    NoTable,
    NotANumber,
    RecordDamaged,
    RecordTooLarge,
    RecordTruncated,
    RecordUnsafe,
)
from records.readers.wanted import WANTED_BY_KIND

WAVE = WANTED_BY_KIND["power_frequency_withstand"]
SWEEP = WANTED_BY_KIND["frequency_response"]
TIME = np.arange(5) / 1000
VOLTAGE = np.array([0.0, 1.5, -2.5, 3.0, 1.0])


@pytest.fixture
def made(tmp_path):
    def make(fill):
        with h5py.File(tmp_path / "record", "w") as file:
            fill(file)
        return tmp_path / "record"

    return make


def columns(file, group="/", unit="V", **options):
    folder = file.require_group(group)
    folder.create_dataset("time", data=TIME, **options).attrs["units"] = "s"
    folder.create_dataset("voltage", data=VOLTAGE, **options).attrs["units"] = unit


@pytest.mark.parametrize(
    "options",
    [{}, {"compression": "gzip", "shuffle": True, "fletcher32": True}, {"compression": "lzf"}, {"chunks": (2,)}],
)
def test_columns_in_a_group(options, made):
    recording = read_record(made(lambda file: columns(file, "run/1", **options)), wanted=WAVE)
    np.testing.assert_array_equal(recording.time_s, TIME)
    np.testing.assert_array_equal(recording.channels["voltage_kv"], VOLTAGE * 1e-3)


def test_an_interval_or_a_rate_gives_the_times(made):
    for key, value in (("dt", 0.001), ("sampling_rate", 1000.0)):

        def fill(file, key=key, value=value):
            file.create_dataset("U (kV)", data=VOLTAGE).attrs[key] = value

        recording = read_record(made(fill), wanted=WAVE)
        np.testing.assert_allclose(recording.time_s, TIME, rtol=1e-15)


def test_a_table_of_two_dimensions_and_one_of_records(made):
    def plain(file):
        file.create_dataset("scope", data=np.column_stack([TIME, VOLTAGE])).attrs["columns"] = ["t (s)", "U (kV)"]

    def records(file):
        rows = np.array(list(zip(TIME, VOLTAGE, strict=True)), dtype=[("time_s", "f8"), ("voltage_kv", "f4")])
        file.create_dataset("rows", data=rows)

    for fill in (plain, records):
        recording = read_record(made(fill), wanted=WAVE)
        np.testing.assert_array_equal(recording.channels["voltage_kv"], VOLTAGE)


def test_complex_numbers_are_two_columns(made):
    def fill(file):
        file["frequency (kHz)"] = [1.0, 2.0, 3.0]
        file.create_dataset("Z", data=[1 + 2j, 3 + 4j, 5 + 6j]).attrs["unit"] = "Ω"

    recording = read_record(made(fill), wanted=SWEEP)
    np.testing.assert_array_equal(recording.channels["frequency_hz"], [1000, 2000, 3000])
    np.testing.assert_array_equal(recording.channels["impedance_imag_ohm"], [2, 4, 6])


def test_facts_are_kept_and_a_mapping_is_used(made):
    def fill(file):
        file.attrs["bay"] = 2
        file["serial"] = "X-1"
        file["A"], file["B"] = TIME, VOLTAGE

    path = made(fill)
    with pytest.raises(MappingNeeded, match="“A”, “B”"):
        read_record(path, wanted=WAVE)
    mapping = ColumnMap.from_dict({"time_s": {"column": "A", "unit": "s"}, "voltage_kv": {"column": "B", "unit": "V"}})
    recording = read_record(path, wanted=WAVE, columns=mapping)
    np.testing.assert_array_equal(recording.channels["voltage_kv"], VOLTAGE * 1e-3)
    assert recording.metadata == {"bay": "2", "serial": "X-1"}


def test_what_is_not_finite_is_refused_with_its_row(made):
    def fill(file):
        file["time_s"], file["voltage_kv"] = TIME, [0, 1, np.nan, 3, 4]

    with pytest.raises(NotANumber, match="Row 3: “voltage_kv” holds nan"):
        read_record(made(fill), wanted=WAVE)


def test_nothing_leads_out_of_the_file(made, tmp_path):
    with h5py.File(tmp_path / "secret.h5", "w") as file:
        columns(file)
    (tmp_path / "secret.bin").write_bytes(VOLTAGE.tobytes())

    def link(file):
        file["run"] = h5py.ExternalLink(str(tmp_path / "secret.h5"), "/")

    def outside(file):
        file["time_s"] = TIME
        file.create_dataset("voltage_kv", (5,), "f8", external=[(str(tmp_path / "secret.bin"), 0, 40)])

    def virtual(file):
        layout = h5py.VirtualLayout((5,), "f8")
        layout[:] = h5py.VirtualSource(str(tmp_path / "secret.h5"), "voltage", (5,))
        file["time_s"] = TIME
        file.create_virtual_dataset("voltage_kv", layout)

    for fill, words in ((link, "link to another file"), (outside, "in another file"), (virtual, "put together")):
        with pytest.raises(RecordUnsafe, match=words):
            read_record(made(fill), wanted=WAVE)


def test_a_soft_link_is_not_followed(made):
    def fill(file):
        columns(file, unit="kV")
        file["again"] = h5py.SoftLink("/voltage")
        file["nowhere"] = h5py.SoftLink("/nowhere/at/all")

    assert read_record(made(fill), wanted=WAVE).oddities == ("Links inside the file were not followed.",)


def test_what_grows_beyond_its_limits_is_refused(made):
    def huge(file):
        file.create_dataset("voltage_kv", (10**13,), "f8", chunks=(1000,))

    def chunk(file):
        file.create_dataset("x", (1,), "f8", chunks=(400_000_000,), maxshape=(None,))

    def bomb(file):
        columns(file)
        file.create_dataset("zeros", data=np.zeros(10_000_000), compression="gzip", compression_opts=9)

    def deep(file):
        file.create_group("/".join("g" * 40))

    def many(file):
        for number in range(10_001):
            file.create_group(f"g{number}")

    cases = {huge: "declares 80000000 MB", chunk: "declares 3200 MB", bomb: "grows", deep: "deep", many: "10000"}
    for fill, words in cases.items():
        with pytest.raises(RecordUnsafe, match=words):
            read_record(made(fill), wanted=WAVE)


def test_data_that_were_declared_and_not_written_are_refused(made):
    def never(file):
        file["time_s"] = TIME
        file.create_dataset("voltage_kv", (5,), "f8")

    def half(file):
        file["time_s"] = np.arange(10_000) / 1000
        data = file.create_dataset("voltage_kv", (10_000,), "f8", chunks=(1000,))
        data[:5000] = 1

    for fill in (never, half):
        with pytest.raises(RecordTruncated, match="not all were written"):
            read_record(made(fill), wanted=WAVE)


def test_a_circle_of_groups_ends(made):
    def fill(file):
        columns(file, unit="kV")
        file["a/b"] = file["/"]

    assert read_record(made(fill), wanted=WAVE).rows == 5


def test_limits_and_damage(made, tmp_path):
    path = made(columns)
    with pytest.raises(RecordTooLarge, match="5 rows; the limit is 4"):
        read_record(path, wanted=WAVE, limits=Limits(max_rows=4))
    path.write_bytes(path.read_bytes()[:1000])
    with pytest.raises(RecordDamaged, match="begins as HDF5 but is damaged"):
        read_record(path, wanted=WAVE)
    with pytest.raises(NoTable, match="no columns of numbers"):
        read_record(made(lambda file: file.create_group("empty")), wanted=WAVE)


def test_a_method_of_compression_that_is_not_known(made):
    def fill(file):
        plan = h5py.h5p.create(h5py.h5p.DATASET_CREATE)
        plan.set_chunk((5,))
        plan.set_filter(32015, h5py.h5z.FLAG_OPTIONAL)
        space = h5py.h5s.create_simple((5,))
        data = h5py.h5d.create(file.id, b"voltage_kv", h5py.h5t.IEEE_F64LE, space, plan)
        h5py.Dataset(data)[:] = VOLTAGE

    with pytest.raises(ContentNotKnown, match="compressed by method 32015, which is not read"):
        read_record(made(fill), wanted=WAVE)
