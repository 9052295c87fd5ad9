"""Files as instruments write them, made by code that shares nothing with the readers: bytes laid out by hand.

COMTRADE: `struct` after the layout in IEEE Std C37.111-2013, clause on the data file (from memory). Touchstone: text
after the specification of the IBIS Open Forum, version 2.0 (2009). XLSX: the parts of ECMA-376 that a sheet cannot do
without, written as text into a zip container. HDF5 and Parquet: by their own libraries, which is all that there is.
"""

from __future__ import annotations

import io
import struct
import zipfile
from pathlib import Path

import h5py
import numpy as np
import polars as pl

WORDS = {"BINARY": "h", "BINARY32": "i", "FLOAT32": "f"}


def comtrade_configuration(
    kind,
    *,
    samples,
    analogs=(("VA", "kV", 0.001, 0.0, 1, 1, "P"),),
    digitals=(),
    rates=((1000, None),),
    revision="1999",
    line_hz="50",
    dates=("02/03/2026,10:00:00.000000", "02/03/2026,10:00:00.010000"),
    factor="1",
):
    """Give the text of a configuration; an analog channel is name, unit, a, b, primary, secondary, side."""
    lines = [f"Bay 2,recorder{',' + revision if revision else ''}"]
    lines.append(f"{len(analogs) + len(digitals)},{len(analogs)}A,{len(digitals)}D")
    for number, (name, unit, a, b, primary, secondary, side) in enumerate(analogs, start=1):
        line = f"{number},{name},,,{unit},{a},{b},0,-99999,99998"
        lines.append(line if revision == "" else f"{line},{primary},{secondary},{side}")
    lines += [f"{number},{name},,,0" for number, name in enumerate(digitals, start=1)]
    lines += [line_hz, str(len(rates))]
    lines += [f"{rate},{end or samples}" for rate, end in rates] or [f"0,{samples}"]
    lines += [*dates, kind]
    lines += [factor] if revision else []
    return "\r\n".join(lines) + "\r\n"


def comtrade_data(kind, words, *, bits=None, stamps=None, numbers=None):
    """Give the bytes of the data: `words` are rows of samples as they are stored, `bits` rows of 0 and 1."""
    count = len(words)
    numbers = range(1, count + 1) if numbers is None else numbers
    stamps = [0] * count if stamps is None else stamps
    bits = [()] * count if bits is None else bits
    rows = list(zip(numbers, stamps, words, bits, strict=True))
    if kind == "ASCII":
        lines = [",".join(["" if c is None else str(c) for c in (n, t, *row, *b)]) for n, t, row, b in rows]
        return ("\r\n".join(lines) + "\r\n\x1a").encode()
    out = b""
    for number, stamp, row, flags in rows:
        out += struct.pack("<II", number, stamp) + struct.pack(f"<{len(row)}{WORDS[kind]}", *row)
        for first in range(0, len(flags), 16):
            out += struct.pack("<H", sum(bit << place for place, bit in enumerate(flags[first : first + 16])))
    return out


def comtrade_single(kind, configuration, data):
    """Give a single file of the 2013 revision."""
    length = f" {len(data)}" if kind == "ASCII" else f": {len(data)}"
    heading = "--- file type: DAT ASCII ---" if kind == "ASCII" else f"--- file type: DAT {kind}{length} ---"
    text = f"--- file type: CFG ---\r\n{configuration}--- file type: INF ---\r\n\r\n--- file type: HDR ---\r\n\r\n"
    return f"{text}{heading}\r\n".encode() + data


def write_pair(room: Path, kind, words, *, bits=None, stamps=None, numbers=None, **configured):
    """Write configuration and data into a folder; give both paths."""
    (room / "record.cfg").write_text(comtrade_configuration(kind, samples=len(words), **configured), encoding="utf-8")
    (room / "record.dat").write_bytes(comtrade_data(kind, words, bits=bits, stamps=stamps, numbers=numbers))
    return room / "record.cfg", room / "record.dat"


def touchstone_text(frequency, rows, option="# Hz S RI R 50", comment="! made for a test"):
    """Give a file of version 1, each row the numbers after the frequency."""
    lines = [comment, option]
    lines += [
        " ".join([repr(float(f)), *(repr(float(v)) for v in row)]) for f, row in zip(frequency, rows, strict=True)
    ]
    return "\n".join(lines) + "\n"


_TYPES = (
    '<?xml version="1.0" encoding="UTF-8"?><Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="xml" ContentType="application/xml"/>'
    '<Override PartName="/xl/workbook.xml" '
    'ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"/>'
    '<Override PartName="/xl/worksheets/sheet1.xml" '
    'ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.worksheet+xml"/></Types>'
)
_RELATION = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_ROOT_LINKS = (
    '<?xml version="1.0"?><Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    f'<Relationship Id="r1" Type="{_RELATION}/officeDocument" Target="xl/workbook.xml"/></Relationships>'
)
_BOOK_LINKS = (
    '<?xml version="1.0"?><Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    f'<Relationship Id="r1" Type="{_RELATION}/worksheet" Target="worksheets/sheet1.xml"/></Relationships>'
)
_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_BOOK = (
    f'<?xml version="1.0"?><workbook xmlns="{_MAIN}" xmlns:r="{_RELATION}">'
    '<sheets><sheet name="Record" sheetId="1" r:id="r1"/></sheets></workbook>'
)


def sheet_xml(rows, merges=(), dimension=""):
    """Give a sheet: texts as inline strings, numbers as Python's shortest exact decimal."""
    body = []
    for number, row in enumerate(rows, start=1):
        cells = []
        for place, cell in enumerate(row):
            ref = f"{chr(65 + place)}{number}"
            if isinstance(cell, str):
                cells.append(f'<c r="{ref}" t="inlineStr"><is><t>{cell}</t></is></c>')
            elif isinstance(cell, bool):
                cells.append(f'<c r="{ref}" t="b"><v>{int(cell)}</v></c>')
            elif cell is not None:
                cells.append(f'<c r="{ref}"><v>{cell!r}</v></c>')
        body.append(f'<row r="{number}">{"".join(cells)}</row>')
    merged = "".join(f'<mergeCell ref="{ref}"/>' for ref in merges)
    merged = f'<mergeCells count="{len(merges)}">{merged}</mergeCells>' if merges else ""
    size = f'<dimension ref="{dimension}"/>' if dimension else ""
    data = f"{size}<sheetData>{''.join(body)}</sheetData>{merged}"
    return f'<?xml version="1.0"?><worksheet xmlns="{_MAIN}">{data}</worksheet>'


def workbook_bytes(sheet, extra=(), book=_BOOK):
    """Give a workbook of one sheet, with further members (name, bytes)."""
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as container:
        parts = (
            ("[Content_Types].xml", _TYPES),
            ("_rels/.rels", _ROOT_LINKS),
            ("xl/workbook.xml", book),
            ("xl/_rels/workbook.xml.rels", _BOOK_LINKS),
            ("xl/worksheets/sheet1.xml", sheet),
        )
        for name, content in (*parts, *extra):
            container.writestr(name, content)
    return stream.getvalue()


def hdf5_bytes(room: Path, columns, units=None, **options):
    """Give an HDF5 file of one-dimensional data sets."""
    path = room / "made.h5"
    with h5py.File(path, "w") as file:
        for name, values in columns.items():
            data = file.create_dataset(name, data=np.asarray(values), **options)
            if units and name in units:
                data.attrs["units"] = units[name]
    return path.read_bytes()


def parquet_bytes(columns):
    """Give a Parquet file."""
    stream = io.BytesIO()
    pl.DataFrame(columns).write_parquet(stream)
    return stream.getvalue()


def seeds(room: Path):
    """Give one small sound file of each format, by the name of the format."""
    time = [0.0, 0.001, 0.002, 0.003, 0.004]
    voltage = [0.0, 1.5, 2.5, -1.25, 0.5]
    words = [(int(1000 * value), 7) for value in voltage]
    analogs = (("VA", "kV", 0.001, 0.0, 1, 1, "P"), ("IA", "A", 1.0, 0.0, 1, 1, "P"))
    text = comtrade_configuration("BINARY", samples=5, analogs=analogs, revision="2013")
    ascii_text = comtrade_configuration("ASCII", samples=5, analogs=analogs)
    table = [["Time", "Voltage"], ["s", "kV"], *[list(row) for row in zip(time, voltage, strict=True)]]
    return {
        "text": b"Time (s);U (kV)\n" + b"".join(f"{t};{v}\n".encode() for t, v in zip(time, voltage, strict=True)),
        "comtrade": comtrade_single("BINARY", text, comtrade_data("BINARY", words)),
        "comtrade_ascii": comtrade_single("ASCII", ascii_text, comtrade_data("ASCII", words)),
        "touchstone": touchstone_text([1, 2, 3], [(0.1, 0.2), (0.3, 0.4), (0.5, 0.6)]).encode(),
        "spreadsheet": workbook_bytes(sheet_xml(table)),
        "hdf5": hdf5_bytes(room, {"time": time, "voltage": voltage}, {"time": "s", "voltage": "kV"}),
        "parquet": parquet_bytes({"time_s": time, "voltage_kv": voltage}),
    }
