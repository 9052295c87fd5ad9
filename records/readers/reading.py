"""One file, or a pair, to one recording, or to a refusal in words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from os import PathLike
from pathlib import Path

from records.readers.columns import ColumnMap
from records.readers.formats import format_for, ordered
from records.readers.memory import OWN, Memory
from records.readers.order import Order
from records.readers.previewing import Preview
from records.readers.recording import DEFAULT, Limits, Recording
from records.readers.refusals import RecordDamaged, RecordRefused
from records.readers.wanted import Wanted

NEEDED = ("time_s", "voltage_kv")
# What passes through: our own words, no such file, and what libraries raise where memory runs out under them.
_OTHERS = (RecordRefused, OSError, MemoryError, ImportError, NameError, SystemError)
# How the interpreter and the library say that no memory is left for the stack of a thread: no fault of the file.
_NO_THREAD = ("can't start new thread", "could not spawn threads")


def preview(
    path: str | PathLike[str],
    *,
    columns: ColumnMap | None = None,
    limits: Limits = DEFAULT,
    wanted: Wanted | None = None,
    companion: str | PathLike[str] | None = None,
) -> Preview:
    """Return the first rows of a file as the reader understands them.

    Parameters
    ----------
    path : path-like
        File to look at; of text only the first 64 KiB are read.
    columns : ColumnMap, optional
        Which column is which, where a person said so.
    limits : Limits
        What reading may cost.
    wanted : Wanted, optional
        What the step needs; time and voltage where it is not stated.
    companion : path-like, optional
        The other file of a pair.

    Returns
    -------
    Preview
        Frozen; `Preview.unresolved` are the columns that nobody has named.

    Raises
    ------
    RecordRefused
        The file is empty, too large, of no format that is known, or holds no rows of numbers.
    """
    order = _order(path, companion, columns, limits, wanted or Wanted.of(NEEDED))
    with _refusing():
        return format_for(order).reader.preview(order)


def read_record(
    path: str | PathLike[str],
    *,
    columns: ColumnMap | None = None,
    limits: Limits = DEFAULT,
    needed: Sequence[str] = NEEDED,
    wanted: Wanted | None = None,
    companion: str | PathLike[str] | None = None,
    memory: Memory = OWN,
) -> Recording:
    """Return the arrays of one file, or of a pair.

    Parameters
    ----------
    path : path-like
        Text in columns, a spreadsheet (XLSX), COMTRADE, Touchstone, HDF5 or Parquet; the content decides, not the name.
    columns : ColumnMap, optional
        Which column is which; it goes before the heads.
    limits : Limits
        Bytes, rows and expansion above which the file is refused. Processor time and memory bind in `read_in_child`
        only.
    needed : sequence of str
        Channels that must be found, where `wanted` is not given.
    wanted : Wanted, optional
        What the step needs: which sets of channels, along which axis.
    companion : path-like, optional
        The other file of a pair (COMTRADE: configuration and data, in either order).
    memory : Memory
        Where the columns of a long text are made.

    Returns
    -------
    Recording
        Arrays (n,) in the channels' own units; time [s] as the file states it, clock times from the first row.

    Raises
    ------
    MappingNeeded
        A needed channel is not told by the heads, and some column is left that could be it.
    ColumnMissing
        A needed channel is not told and no column is left.
    RecordRefused
        Each other fault by its own class (`records.readers.refusals`), with the row where it has one.

    Notes
    -----
    Cells of numbers are never guessed at: text, nothing, NaN and infinity are refused with their row. Rows with equal
    times are kept and reported as odd. What a library raises over a damaged file becomes `RecordDamaged`.
    """
    order = _order(path, companion, columns, limits, wanted or Wanted.of(needed), memory)
    with _refusing():
        return format_for(order).reader.read(order)


def _order(
    path: str | PathLike[str],
    companion: str | PathLike[str] | None,
    columns: ColumnMap | None,
    limits: Limits,
    wanted: Wanted,
    memory: Memory = OWN,
) -> Order:
    other = None if companion is None else Path(companion)
    return ordered(Order(Path(path), limits, wanted, columns, other, memory))


@contextmanager
def _refusing() -> Iterator[None]:
    """Turn whatever a library raises over a damaged file into a refusal; some raise what is no `Exception`."""
    try:
        yield
    except _OTHERS:
        raise
    except BaseException as fault:
        if not isinstance(fault, Exception) and type(fault).__name__ != "PanicException":
            raise
        if any(words in str(fault) for words in _NO_THREAD):
            raise MemoryError(_NO_THREAD[0]) from fault
        raise _damaged(fault) from fault


def _damaged(fault: BaseException) -> RecordDamaged:
    told = " ".join(str(fault).split())[:120]
    return RecordDamaged(
        f"The file is damaged or of a variety that is not read ({type(fault).__name__}: {told}). "
        "Fetch the record from the instrument again, or export it as CSV."
    )
