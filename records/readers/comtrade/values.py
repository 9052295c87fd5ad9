"""The data of a COMTRADE record: samples as arrays, for each of the four layouts."""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NoReturn

import numpy as np
import polars as pl
from numpy.typing import NDArray

from records.readers.comtrade.configuration import Configuration
from records.readers.dialect import is_number
from records.readers.order import Order
from records.readers.recording import Samples
from records.readers.refusals import ColumnsDiffer, NotANumber, RecordDamaged, RecordEmpty, RecordTruncated

_MISSING_ASCII = 99_999.0
_MISSING_STAMP = 0xFFFFFFFF
_MISSING = {"BINARY": -(2**15), "BINARY32": -(2**31)}
_WORDS = {"BINARY": "<i2", "BINARY32": "<i4", "FLOAT32": "<f4"}
_MEND = "Fetch the record from the instrument again."


@dataclass(frozen=True)
class Raw:
    """Samples as they stand in the data.

    Attributes
    ----------
    numbers : ndarray (n,)
        Sample numbers, from 1.
    stamps : ndarray (n,)
        Time stamps [ticks]; NaN where there is none.
    columns : dict of int to ndarray (n,)
        Samples by place: analog channels from 0, digital ones after them; NaN where one is missing.
    """

    numbers: Samples
    stamps: Samples
    columns: dict[int, Samples]


def rows_in(known: Configuration, data: bytes) -> int:
    """Return how many samples a binary layout holds, or how many lines a text can hold at most."""
    if known.file_type == "ASCII":
        return data.count(b"\n") + data.count(b"\r") + 1
    return len(data) // _layout(known).itemsize


def raw_samples(known: Configuration, data: bytes, places: Sequence[int], order: Order, most: int | None = None) -> Raw:
    """Return the samples of some channels.

    Parameters
    ----------
    known : Configuration
        How the data are laid out.
    data : bytes
        The data.
    places : sequence of int
        Channels to read: analog ones from 0, digital ones after them.
    order : Order
        Limits.
    most : int, optional
        Most samples to read, from the first.

    Returns
    -------
    Raw
        Missing samples are NaN.

    Raises
    ------
    RecordEmpty, RecordTruncated, RecordDamaged, ColumnsDiffer, NotANumber
        As their names say; rows are those of the data file.
    RecordTooLarge
        There are more samples than the limit.

    References
    ----------
    IEEE Std C37.111-2013, clause on the data file (from memory): sample number and time stamp as 32-bit unsigned
    integers, samples as 16-bit, 32-bit or floating-point words, digital channels 16 to a word, least significant
    first, all little-endian; missing samples as 0x8000, 0x80000000, an empty field or 99999 in text; a missing time
    stamp as 0xFFFFFFFF.
    """
    if not data.strip(b" \r\n\t\x1a"):
        raise RecordEmpty(f"The data of the record are empty. {_MEND}")
    order.check_rows(rows_in(known, data))
    if known.file_type == "ASCII":
        return _text(known, data, places, most)
    return _binary(known, data, places, most)


def _layout(known: Configuration) -> np.dtype[np.void]:
    fields = [("n", "<u4"), ("t", "<u4")]
    if known.analogs:
        fields.append(("a", _WORDS[known.file_type], (len(known.analogs),)))  # type: ignore[arg-type]
    if known.digitals:
        fields.append(("d", "<u2", (-(-len(known.digitals) // 16),)))  # type: ignore[arg-type]
    return np.dtype(fields)


def _binary(known: Configuration, data: bytes, places: Sequence[int], most: int | None) -> Raw:
    layout = _layout(known)
    left = len(data) % layout.itemsize
    if left and data[-left:].strip(b"\r\n\x1a\0"):
        raise RecordTruncated(
            f"The data have {len(data)} bytes, which is no multiple of the {layout.itemsize} that one sample takes: "
            f"the file is cut off, or the configuration is that of another record. {_MEND}"
        )
    rows = np.frombuffer(data, layout, len(data) // layout.itemsize)[:most]
    if not len(rows):
        raise RecordTruncated(f"The data hold not one whole sample. {_MEND}")
    stamps = rows["t"].astype(np.float64)
    stamps[rows["t"] == _MISSING_STAMP] = np.nan
    columns = {place: _word(known, rows, place) for place in places}
    return Raw(rows["n"].astype(np.float64), stamps, columns)


def _word(known: Configuration, rows: NDArray[np.void], place: int) -> Samples:
    if place >= len(known.analogs):
        bit = place - len(known.analogs)
        return ((rows["d"][:, bit // 16] >> (bit % 16)) & 1).astype(np.float64)
    words = rows["a"][:, place]
    samples: Samples = words.astype(np.float64)
    if known.file_type in _MISSING:
        samples[words == _MISSING[known.file_type]] = np.nan
    else:
        samples[~np.isfinite(samples)] = np.nan
    return samples


def _text(known: Configuration, data: bytes, places: Sequence[int], most: int | None) -> Raw:
    content = data.removeprefix(b"\xef\xbb\xbf").replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    rows = re.sub(rb"(?m)^[ \t\x1a]*\n|[ \t]+", b"", content).strip(b"\n\x1a\0")
    width = 2 + len(known.analogs) + len(known.digitals)
    names = [f"c{place}" for place in range(width)]
    try:
        frame = pl.read_csv(
            io.BytesIO(rows),
            has_header=False,
            n_rows=most,
            schema=dict.fromkeys(names, pl.Float64),
            columns=[0, 1, *(place + 2 for place in places)],
            encoding="utf8-lossy",
        )
    except pl.exceptions.PolarsError:
        _refuse(content, known, width)
    if most is None and (frame.height != rows.count(b"\n") + 1 or frame.get_column("c0").null_count()):
        _refuse(content, known, width)
    numbers, stamps = (_float(frame, name) for name in ("c0", "c1"))
    columns = {place: _float(frame, f"c{place + 2}") for place in places}
    for place, samples in columns.items():
        if place < len(known.analogs) and known.analogs[place].maximum <= _MISSING_ASCII:
            samples[samples == _MISSING_ASCII] = np.nan
        samples[~np.isfinite(samples)] = np.nan
    _check_rows_are_whole(rows, width)
    return Raw(numbers, stamps, columns)


def _check_rows_are_whole(rows: bytes, width: int) -> None:
    """Refuse a short last row, which a column reader fills with nothing."""
    last = rows.rsplit(b"\n", 1)[-1]
    if last.count(b",") != width - 1:
        line = rows.count(b"\n") + 1
        raise RecordTruncated(
            f"The last row of the data, sample row {line}, has {last.count(b',') + 1} of {width} columns: the file is "
            f"cut off. {_MEND}",
            row=line,
        )
    if rows.count(b",") != (rows.count(b"\n") + 1) * (width - 1):
        raise ColumnsDiffer(f"Some rows of the data have other than {width} columns. {_MEND}")


def _float(frame: pl.DataFrame, name: str) -> Samples:
    return frame.get_column(name).fill_null(float("nan")).to_numpy().copy()


def _refuse(content: bytes, known: Configuration, width: int) -> NoReturn:
    """Raise the refusal that names the first faulty row of the data."""
    lines = content.decode("utf-8", errors="replace").split("\n")
    whole = [(number, line) for number, line in enumerate(lines, start=1) if line.strip("\x1a\0 \t")]
    for number, line in whole:
        cells = [cell.strip() for cell in line.strip("\x1a\0").split(",")]
        if len(cells) != width:
            kind = RecordTruncated if number == whole[-1][0] and len(cells) < width else ColumnsDiffer
            raise kind(
                f"Row {number} of the data has {len(cells)} columns; the configuration asks for {width}. {_MEND}",
                row=number,
            )
        for place, cell in enumerate(cells):
            if (cell or place == 0) and not is_number(cell, "."):
                raise NotANumber(
                    f"Row {number} of the data holds “{cell[:40]}” in column {place + 1}, where a number must be. "
                    f"{_MEND}",
                    row=number,
                )
    raise RecordDamaged(f"The data could not be read as {known.file_type}. {_MEND}")
