"""Files made to hurt: refused in words, within seconds, and with nothing told of other files."""

from __future__ import annotations

import io
import struct
import time
import zipfile
import zlib

import h5py
import numpy as np
import pytest

from records.readers.isolation import read_in_child
from records.readers.reading import read_record
from records.readers.recording import Limits
from records.readers.refusals import (
    ContentNotKnown,
    ReadingTooCostly,
    RecordDamaged,
    RecordRefused,
    RecordUnsafe,
)
from records.readers.wanted import WANTED_BY_KIND
from tests.recordfiles import sheet_xml, workbook_bytes, write_pair

GOOD = sheet_xml([["Time (s)", "U (kV)"], [0, 1.0], [1, 2.0], [2, 3.0]])
SECRET = "the other laboratory's result is 4711"
ENTITIES = (
    '<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa">'
    + "".join(f'<!ENTITY {chr(98 + n)} "{f"&{chr(97 + n)};" * 10}">' for n in range(8))
    + "]>"
)
MOST_S = 10.0


def refused(room, content, kind=RecordUnsafe, **limits):
    """Give the refusal of a file, which must come before long."""
    path = room / "record"
    path.write_bytes(content)
    begun = time.monotonic()
    with pytest.raises(kind) as caught:
        read_record(path, limits=Limits(**limits))
    assert time.monotonic() - begun < MOST_S
    assert SECRET not in caught.value.message
    assert "\n" not in caught.value.message
    return caught.value.message


def test_entities_that_multiply(tmp_path):
    sheet = GOOD.replace('<?xml version="1.0"?>', f'<?xml version="1.0"?>{ENTITIES}').replace(
        "<v>2.0</v>", "<v>&i;</v>"
    )
    assert "entities" in refused(tmp_path, workbook_bytes(sheet))


@pytest.mark.parametrize("codec", ["utf-8", "utf-16", "utf-16-le", "utf-16-be"])
def test_an_entity_that_names_another_file(codec, tmp_path):
    (tmp_path / "secret").write_text(SECRET, encoding="utf-8")
    entity = f'<!DOCTYPE x [<!ENTITY e SYSTEM "file://{tmp_path}/secret">]>'
    sheet = GOOD.replace('<?xml version="1.0"?>', entity).replace(">Time (s)<", ">&e;<")
    assert "entities" in refused(tmp_path, workbook_bytes(sheet.encode(codec)))


def test_a_code_in_which_an_entity_could_hide(tmp_path):
    head, body = '<?xml version="1.0" encoding="cp037"?>', GOOD.replace('<?xml version="1.0"?>', ENTITIES)
    assert "is in the code “cp037”" in refused(tmp_path, workbook_bytes(head.encode() + body.encode("cp037")))


def test_a_sheet_that_unpacks_to_gigabytes(tmp_path):
    stream = io.BytesIO(workbook_bytes(GOOD))
    with zipfile.ZipFile(stream, "a", zipfile.ZIP_DEFLATED) as container, container.open("xl/more.xml", "w") as member:
        for _ in range(300):
            member.write(b" " * 2**20)
    assert "grows" in refused(tmp_path, stream.getvalue())
    assert "unpacks to 315 MB; the limit is 100 MB" in refused(
        tmp_path, stream.getvalue(), max_unpacked_bytes=100_000_000
    )


def lying(size):
    """Give a workbook whose directory calls a member of 50 MB of blanks as small as stated."""
    plain = zlib.compressobj(9, zlib.DEFLATED, -15)
    body = plain.compress(b" " * 50_000_000) + plain.flush()
    stream = io.BytesIO(workbook_bytes(GOOD))
    with zipfile.ZipFile(stream, "a", zipfile.ZIP_STORED) as container:
        container.writestr("xl/more.xml", body)
    content = bytearray(stream.getvalue())
    central = content.rindex(b"PK\x01\x02")
    struct.pack_into("<H", content, central + 10, zipfile.ZIP_DEFLATED)
    struct.pack_into("<I", content, central + 24, size)
    local = struct.unpack_from("<I", content, central + 42)[0]
    struct.pack_into("<H", content, local + 8, zipfile.ZIP_DEFLATED)
    struct.pack_into("<I", content, local + 22, size)
    return bytes(content)


@pytest.mark.parametrize("size", [10, 100_000, 2**32 - 2])
def test_a_directory_that_lies_about_sizes(size, tmp_path):
    refused(tmp_path, lying(size), (RecordUnsafe, RecordDamaged))


def test_a_hundred_thousand_members(tmp_path):
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as container:
        for number in range(100_000):
            container.writestr(f"m{number}", b"")
    assert "100000 parts; the limit is 1000" in refused(tmp_path, stream.getvalue())


def test_names_that_reach_outside(tmp_path):
    for name in ("../../outside.xml", "/etc/outside.xml", "xl\\..\\..\\outside.xml"):
        assert "reaches outside" in refused(tmp_path, workbook_bytes(GOOD, [(name, b"x")]))
    link = zipfile.ZipInfo("xl/link.xml")
    link.external_attr = 0o120777 << 16
    assert "reaches outside" in refused(tmp_path, workbook_bytes(GOOD, [(link, b"/etc/hostname")]))
    assert not (tmp_path.parent / "outside.xml").exists()


def test_values_of_another_workbook(tmp_path):
    more = [("xl/externalLinks/externalLink1.xml", b"<externalLink/>")]
    assert "takes values from other workbooks" in refused(tmp_path, workbook_bytes(GOOD, more))


@pytest.mark.parametrize(
    ("members", "words"),
    [
        ({"a.zip": b"PK"}, "not a spreadsheet"),
        ({"xl/workbook.bin": b""}, "binary workbook"),
        ({"mimetype": b"application/vnd.oasis.opendocument.spreadsheet"}, "OpenDocument"),
        ({"record.cfg": b"a", "record.dat": b"b"}, "not a spreadsheet"),
    ],
)
def test_other_containers(members, words, tmp_path):
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as container:
        for name, content in members.items():
            container.writestr(name, content)
    assert words in refused(tmp_path, stream.getvalue(), ContentNotKnown)


def test_a_workbook_cut_off(tmp_path):
    content = workbook_bytes(GOOD)
    for length in range(4, len(content), 97):
        refused(tmp_path, content[:length], RecordRefused)


def test_a_row_at_the_end_of_the_sheet_and_a_cell_far_to_the_right(tmp_path):
    far = GOOD.replace("</sheetData>", '<row r="1048576"><c r="XFD1048576"><v>1</v></c></row></sheetData>')
    path = tmp_path / "record"
    path.write_bytes(workbook_bytes(far))
    begun = time.monotonic()
    assert read_record(path).rows == 3
    assert time.monotonic() - begun < MOST_S


@pytest.fixture
def other(tmp_path):
    """Another laboratory's file, which must not be told."""
    with h5py.File(tmp_path / "other.h5", "w") as file:
        file["time_s"], file["voltage_kv"] = np.arange(5.0), np.full(5, 4711.0)
    (tmp_path / "other.bin").write_bytes(np.full(5, 4711.0).tobytes())
    return tmp_path


def test_a_file_of_hdf5_that_names_another_is_refused_by_the_child(other):
    def link(file):
        file["run"] = h5py.ExternalLink(str(other / "other.h5"), "/")

    def outside(file):
        file["time_s"] = np.arange(5.0)
        file.create_dataset("voltage_kv", (5,), "f8", external=[(str(other / "other.bin"), 0, 40)])

    for fill in (link, outside):
        with h5py.File(other / "record", "w") as file:
            fill(file)
        with pytest.raises(RecordUnsafe) as caught:
            read_in_child(other / "record")
        assert "4711" not in caught.value.message


def test_counts_that_no_memory_could_hold(tmp_path):
    first, second = write_pair(tmp_path, "BINARY", [(1,), (2,), (3,)])
    text = first.read_text(encoding="utf-8")
    for old, new in (("1,1A,0D", "999999,999999A,0D"), ("1000,3", "1000,4000000000"), ("1,1A,0D", "999999,1A,999998D")):
        first.write_text(text.replace(old, new), encoding="utf-8")
        begun = time.monotonic()
        with pytest.raises(RecordRefused):
            read_in_child(first, companion=second)
        assert time.monotonic() - begun < MOST_S


def test_a_reader_that_does_not_come_back_is_stopped(tmp_path):
    rows = "".join(f"{place},{place % 7}\n" for place in range(3_000_000))
    (tmp_path / "record").write_text("time_s,voltage_kv\n" + rows, encoding="utf-8")
    begun = time.monotonic()
    with pytest.raises(ReadingTooCostly, match="1 s of processor time"):
        read_in_child(tmp_path / "record", limits=Limits(cpu_s=1, memory_bytes=700_000_000))
    assert time.monotonic() - begun < MOST_S


def test_a_sweep_in_a_spreadsheet_comes_out_of_the_child_without_time(tmp_path):
    rows = [["f (Hz)", "|Z| (Ω)", "Phase (°)"], *[[100 + n, 5.0 + n, -90.0] for n in range(5)]]
    (tmp_path / "record").write_bytes(workbook_bytes(sheet_xml(rows)))
    recording = read_in_child(tmp_path / "record", wanted=WANTED_BY_KIND["frequency_response"])
    assert len(recording.time_s) == 0
    np.testing.assert_array_equal(recording.channels["impedance_ohm"], [5, 6, 7, 8, 9])
    assert recording.preview.how.startswith("Read as a spreadsheet")


def test_damaged_files_of_hdf5_never_hurt_the_caller(tmp_path):
    """In a child, because the library itself may loop or die; both are then a refusal."""
    with h5py.File(tmp_path / "seed", "w") as file:
        for name in ("time_s", "voltage_kv"):
            file.create_dataset(name, data=np.arange(50.0), chunks=(10,), compression="gzip")
    seed = (tmp_path / "seed").read_bytes()
    chance = np.random.default_rng(20261125)
    for _ in range(15):
        content = bytearray(seed)
        for _ in range(chance.integers(1, 6)):
            place = int(chance.integers(8, len(content) - 8))
            content[place : place + 4] = chance.bytes(4)
        (tmp_path / "record").write_bytes(content)
        try:
            recording = read_in_child(tmp_path / "record", limits=Limits(cpu_s=4))
        except RecordRefused as refusal:
            assert refusal.message.endswith(".")  # noqa: PT017  both ends are lawful
        else:
            assert np.isfinite(recording.channels["voltage_kv"]).all()
