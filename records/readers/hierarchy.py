"""What is in an HDF5 file, found without following anything that leads out of it or grows beyond its limits."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import h5py
import numpy as np
from numpy.typing import NDArray

from records.readers.recording import Limits
from records.readers.refusals import ContentNotKnown, RecordTruncated, RecordUnsafe

_MOST_OBJECTS = 10_000
_DEEPEST = 32
_MOST_COLUMNS = 64
_SMALL_BYTES = 1024 * 1024
_FILTERS = frozenset((1, 2, 3, 4, 5, 6, 32000))  # deflate, shuffle, checksum, szip, n-bit, scale-offset, lzf
_UNITS = ("units", "unit", "Units", "Unit", "UNITS")
_LABELS = ("columns", "names", "labels", "column_names")
_INTERVALS = ("dt", "sample_interval", "sampling_interval", "delta_t", "wf_increment")
_RATES = ("sampling_rate", "sample_rate", "sampling_frequency", "fs")
_MEND = "Export the record again with its data inside the file, or as CSV."


@dataclass(frozen=True)
class Series:
    """One column of numbers: head, unit, length, folder, interval [s] where stated, and a taker of values."""

    head: str
    unit: str
    rows: int
    folder: str
    interval_s: float | None
    take: Callable[[int | None], NDArray[Any]]


@dataclass
class Contents:
    """Columns in the order of the file, scalars and texts, and what was odd."""

    series: list[Series] = field(default_factory=list)
    metadata: dict[str, str] = field(default_factory=dict)
    said: list[str] = field(default_factory=list)


def contents_of(file: h5py.File, limits: Limits) -> Contents:
    """Return the columns of a file.

    Parameters
    ----------
    file : h5py.File
        Opened for reading.
    limits : Limits
        Unpacked bytes and ratio bind.

    Returns
    -------
    Contents
        Series are not read yet.

    Raises
    ------
    RecordUnsafe
        A link leads to another file, data lie outside the file or are put together from others, or something is larger,
        deeper or more compressed than it may be.
    ContentNotKnown
        Data are compressed by a method that is not read.
    RecordTruncated
        Data were declared but never written.

    Notes
    -----
    Soft links are not followed: what they name is in the file under its own name, or it is not in the file.
    """
    found = Contents()
    _walk(file, "", 0, found, {"objects": 0, "seen": set()}, limits)
    _attributes(file, found)
    return found


def _walk(group: h5py.Group, path: str, depth: int, found: Contents, count: dict[str, Any], limits: Limits) -> None:
    if depth > _DEEPEST:
        raise RecordUnsafe(f"Groups are nested more than {_DEEPEST} deep. {_MEND}")
    for name in group:
        count["objects"] += 1
        if count["objects"] > _MOST_OBJECTS:
            raise RecordUnsafe(f"The file has more than {_MOST_OBJECTS} objects. {_MEND}")
        link = group.get(name, getlink=True)
        if isinstance(link, h5py.ExternalLink):
            raise RecordUnsafe(f"“{path}/{name[:60]}” is a link to another file. {_MEND}")
        if isinstance(link, h5py.SoftLink):
            found.said.append("Links inside the file were not followed.")
            continue
        item = group[name]
        address = h5py.h5o.get_info(item.id).addr
        if address in count["seen"]:
            continue
        count["seen"].add(address)
        if isinstance(item, h5py.Group):
            _walk(item, f"{path}/{name}", depth + 1, found, count, limits)
        elif isinstance(item, h5py.Dataset):
            _check(item, f"{path}/{name}", limits)
            _note(item, name, path, found)


def _check(data: h5py.Dataset, path: str, limits: Limits) -> None:
    plan = data.id.get_create_plist()
    if plan.get_external_count():
        raise RecordUnsafe(f"“{path[:60]}” keeps its data in another file. {_MEND}")
    if data.is_virtual:
        raise RecordUnsafe(f"“{path[:60]}” is put together from other data sets. {_MEND}")
    for place in range(plan.get_nfilters()):
        code = plan.get_filter(place)[0]
        if code not in _FILTERS:
            raise ContentNotKnown(f"“{path[:60]}” is compressed by method {code}, which is not read. {_MEND}")
    if data.shape is None:
        return
    size = math.prod(data.shape) * data.dtype.itemsize
    chunk = math.prod(data.chunks) * data.dtype.itemsize if data.chunks else 0
    if max(size, chunk) > limits.max_unpacked_bytes:
        raise RecordUnsafe(
            f"“{path[:60]}” declares {max(size, chunk) / 1e6:.0f} MB; the limit is "
            f"{limits.max_unpacked_bytes / 1e6:.0f} MB. {_MEND}"
        )
    stored = data.id.get_storage_size()
    if size > _SMALL_BYTES and size > limits.max_ratio * max(stored, 1) and stored:
        raise RecordUnsafe(
            f"“{path[:60]}” grows {size / stored:.0f} times when it is unpacked; the limit is {limits.max_ratio}. "
            f"{_MEND}"
        )
    _check_written(data, path, size, stored)


def _check_written(data: h5py.Dataset, path: str, size: int, stored: int) -> None:
    """Refuse data that were declared and not written: they would be read as zeros."""
    if not size or data.dtype.kind not in "iufbcV":
        return
    is_short = not stored
    if data.chunks and stored:
        whole = math.prod(-(-length // part) for length, part in zip(data.shape, data.chunks, strict=True))
        is_short = data.id.get_num_chunks() < whole
    if is_short:
        raise RecordTruncated(
            f"“{path[:60]}” declares {math.prod(data.shape)} values, and not all were written: the record was cut off. "
            "Fetch it from the instrument again."
        )


def _note(data: h5py.Dataset, name: str, folder: str, found: Contents) -> None:
    """Enter a data set as the columns that it holds, or as a fact beside them."""
    if data.shape is None:
        return
    if data.shape == ():
        _fact(found, name, data[()])
    elif data.dtype.names and len(data.shape) == 1:
        for part in data.dtype.names:
            if data.dtype[part].kind in "iufb" and data.dtype[part].shape == ():
                found.series.append(_series(data, part, folder, _field_taker(data, part)))
    elif data.dtype.kind == "c" and len(data.shape) == 1:
        found.series.append(_series(data, f"{name} real", folder, lambda most: np.real(data[:most])))
        found.series.append(_series(data, f"{name} imag", folder, lambda most: np.imag(data[:most])))
    elif data.dtype.kind in "iufb" and len(data.shape) == 1:
        found.series.append(_series(data, name, folder, lambda most: data[:most]))
    elif data.dtype.kind in "iufb" and len(data.shape) == 2 and data.shape[1] <= _MOST_COLUMNS:
        labels = _labels(data, name)
        for place, label in enumerate(labels):
            found.series.append(_series(data, label, folder, _column_taker(data, place)))


def _field_taker(data: h5py.Dataset, part: str) -> Callable[[int | None], NDArray[Any]]:
    return lambda most: data.fields(part)[:most]


def _column_taker(data: h5py.Dataset, place: int) -> Callable[[int | None], NDArray[Any]]:
    return lambda most: data[:most, place]


def _series(data: h5py.Dataset, head: str, folder: str, take: Callable[[int | None], NDArray[Any]]) -> Series:
    unit = next((_text(data.attrs[key]) for key in _UNITS if key in data.attrs), "")
    return Series(head, unit, data.shape[0], folder, _interval(data), take)


def _labels(data: h5py.Dataset, name: str) -> list[str]:
    for key in _LABELS:
        if key in data.attrs:
            told = [_text(label) for label in np.atleast_1d(data.attrs[key])]
            if len(told) == data.shape[1]:
                return told
    return [f"{name} column {place + 1}" for place in range(data.shape[1])]


def _interval(data: h5py.Dataset) -> float | None:
    """Return the time between samples [s] that the data set or its group states, or None."""
    for attributes in (data.attrs, data.parent.attrs, data.file.attrs):
        for keys, is_rate in ((_INTERVALS, False), (_RATES, True)):
            for key in keys:
                value = _number(attributes.get(key))
                if value is not None and value > 0:
                    return 1 / value if is_rate else value
    return None


def _number(value: Any) -> float | None:
    try:
        number = float(np.asarray(value).item())
    except (TypeError, ValueError):
        return None
    return number if math.isfinite(number) else None


def _text(value: Any) -> str:
    if isinstance(value, bytes):
        return value.decode("utf-8", errors="replace").strip()
    return str(value).strip()


def _attributes(file: h5py.File, found: Contents) -> None:
    for key in list(file.attrs)[:200]:
        _fact(found, key, file.attrs[key])


def _fact(found: Contents, name: str, value: Any) -> None:
    if isinstance(value, str | bytes | int | float | np.number) and len(found.metadata) < 200:
        found.metadata[name[:100]] = _text(value)[:500]
