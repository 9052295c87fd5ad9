"""Where the arrays of a record are made: in this process, or in memory that a child process shares with its parent."""

from __future__ import annotations

import fcntl
import mmap
import os
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from records.readers.recording import Samples

Table = NDArray[np.float64]

_VALUE_BYTES = 8
_PAGE_VALUES = 512  # each column begins on a page of its own
_HAS_SEALS = hasattr(os, "memfd_create")
_GIVE_BACK = getattr(mmap, "MADV_REMOVE", None)


class Memory(Protocol):
    """Where a reader has room made for the columns of a long table."""

    def table(self, columns: int, rows: int) -> Table:
        """Return an array (columns, at least `rows`), each column contiguous, of any values."""

    def put(self, table: Table, column: int, start: int, values: Samples) -> None:
        """Put values into a column of a table from one row on."""

    def give_back(self, table: Table) -> None:
        """Let go of a table that will not be looked at again."""


class OwnMemory:
    """Memory of this process, which is given back where nothing refers to it any more."""

    def table(self, columns: int, rows: int) -> Table:
        """Return an array (columns, rows) of any values."""
        return np.empty((columns, rows))

    def put(self, table: Table, column: int, start: int, values: Samples) -> None:
        """Copy the values into the table."""
        table[column, start : start + len(values)] = values

    def give_back(self, table: Table) -> None:
        """Do nothing: the memory goes with the last reference."""


OWN = OwnMemory()


class SharedMemory:
    """Memory of a file without a name that another process has open too.

    Parameters
    ----------
    handle : int
        Descriptor of the file, as `opened` gives it; it grows by each table.

    Notes
    -----
    A reader that puts its columns there from the beginning hands them over without a further copy. The memory counts as
    address space of this process, and the file's length is bound by its limit on files.
    """

    def __init__(self, handle: int) -> None:
        self.handle, self._end = handle, os.fstat(handle).st_size
        self._mapped: dict[int, tuple[mmap.mmap, int]] = {}

    def table(self, columns: int, rows: int) -> Table:
        """Return an array (columns, at least `rows`) of zeros in the file.

        Raises
        ------
        MemoryError
            The file may not grow so far, or the address space is used up.
        """
        long = max(-(-rows // _PAGE_VALUES), 1) * _PAGE_VALUES
        length = columns * long * _VALUE_BYTES
        offset = self._room(length)
        try:
            mapped = mmap.mmap(self.handle, length, offset=offset)
        except OSError as fault:
            raise MemoryError(fault.strerror) from fault
        table = np.frombuffer(mapped, dtype=np.float64).reshape(columns, long)
        self._mapped[_address(table)] = mapped, offset
        return table

    def put(self, table: Table, column: int, start: int, values: Samples) -> None:
        """Write the values into the file; it costs half of what touching its pages does, which are cleared first.

        Raises
        ------
        MemoryError
            There is no memory left for them.
        """
        _, offset = self._mapped[_address(table)]
        self._write(values, offset + (column * table.shape[1] + start) * _VALUE_BYTES)

    def give_back(self, table: Table) -> None:
        """Take the memory of a table out of the file; where the system cannot, it stays until the file is closed."""
        mapped, _ = self._mapped.pop(_address(table))
        if _GIVE_BACK is not None:
            mapped.madvise(_GIVE_BACK)

    def place(self, values: Samples) -> tuple[int, int]:
        """Return where an array lies in the file [bytes] and its length; one that lies elsewhere is copied into it."""
        values = np.ascontiguousarray(values, dtype=np.float64)
        address = _address(values)
        for start, (mapped, offset) in self._mapped.items():
            if start <= address and address + values.nbytes <= start + len(mapped):
                return offset + address - start, len(values)
        offset = self._room(values.nbytes)
        self._write(values, offset)
        return offset, len(values)

    def _write(self, values: Samples, offset: int) -> None:
        left = np.ascontiguousarray(values, dtype=np.float64).view(np.uint8).data
        try:
            while len(left):
                written = os.pwrite(self.handle, left, offset)
                left, offset = left[written:], offset + written
        except OSError as fault:
            raise MemoryError(fault.strerror) from fault

    def _room(self, length: int) -> int:
        """Return where in the file so many bytes have been made room for."""
        offset = -(-self._end // mmap.ALLOCATIONGRANULARITY) * mmap.ALLOCATIONGRANULARITY
        try:
            os.ftruncate(self.handle, offset + length)
        except OSError as fault:
            raise MemoryError(fault.strerror) from fault
        self._end = offset + length
        return offset


@contextmanager
def opened() -> Iterator[int]:
    """Give the descriptor of a file without a name, in memory where the system has such files, and close it after."""
    if _HAS_SEALS:
        handle = os.memfd_create("record", os.MFD_CLOEXEC | os.MFD_ALLOW_SEALING)
        try:
            yield handle
        finally:
            os.close(handle)
    else:
        with tempfile.TemporaryFile(prefix="record-") as file:
            yield file.fileno()


def arrays_in(handle: int, places: Sequence[Sequence[int]]) -> list[Samples]:
    """Return arrays that another process left in a file, mapped and not copied; they outlive the descriptor.

    Parameters
    ----------
    handle : int
        As `opened` gave it.
    places : sequence of (int, int)
        Offset [bytes] and length [values] of each.

    Returns
    -------
    list of ndarray (n,)
        Read-only.

    Raises
    ------
    ValueError
        A place lies outside the file.
    OSError
        Another process can still write into the file.

    Notes
    -----
    In memory the file is sealed first: nobody can change its bytes or its length any more, so that what has been
    checked stays so, whatever the other process started before it ended.
    """
    if _HAS_SEALS:
        fcntl.fcntl(handle, fcntl.F_ADD_SEALS, fcntl.F_SEAL_WRITE | fcntl.F_SEAL_SHRINK | fcntl.F_SEAL_GROW)
    size = os.fstat(handle).st_size
    for offset, rows in places:
        if not (offset >= 0 and offset % _VALUE_BYTES == 0 and 0 <= rows <= (size - offset) // _VALUE_BYTES):
            raise ValueError(f"The place of {rows} values at byte {offset} lies outside the {size} bytes of the file.")
    if not size:
        return [np.empty(0) for _ in places]
    # Private, because older systems let nothing sealed be mapped shared; nothing is written, so nothing is copied.
    mapped = mmap.mmap(handle, size, flags=mmap.MAP_PRIVATE, prot=mmap.PROT_READ)
    return [np.frombuffer(mapped, dtype=np.float64, count=rows, offset=offset) for offset, rows in places]


def _address(values: NDArray[np.float64]) -> int:
    return int(values.__array_interface__["data"][0])
