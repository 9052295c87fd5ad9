"""Which reader a file needs: decided by its bytes, never by its name."""

from __future__ import annotations

import importlib
import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Protocol, cast

from records.readers.order import Order
from records.readers.previewing import Preview
from records.readers.recording import Recording
from records.readers.refusals import CompanionMissing

SNIFFED_BYTES = 64 * 1024
_HDF5 = b"\x89HDF\r\n\x1a\n"
_COUNTS = re.compile(r"^\s*\d+\s*,\s*\d+\s*[Aa]\s*,\s*\d+\s*[Dd]\s*$")
_OPTIONS = re.compile(
    r"^#\s*(?=\S)(?:(?:[KMG]?HZ|[SYZGH]|MA|DB|RI|R(?:\s+\(?[-+0-9.ej]+\)?)*)(?:\s+|$))+$", re.IGNORECASE
)
_TELLING = re.compile(r"\b(?:[KMG]?HZ|MA|DB|RI|R)\b", re.IGNORECASE)
_VERSION = re.compile(r"^\[version\]", re.IGNORECASE)
_SINGLE = re.compile(r"^\s*---\s*file\s+type:\s*cfg\b", re.IGNORECASE)


class Reader(Protocol):
    """A module that reads one format."""

    def preview(self, order: Order) -> Preview:
        """Return the first rows as they are understood."""

    def read(self, order: Order) -> Recording:
        """Return the arrays."""


@dataclass(frozen=True)
class Format:
    """One format.

    Attributes
    ----------
    name : str
        What people call it.
    module : str
        What reads it.
    is_begun_by : callable
        Whether the first bytes of a file are of this format.
    most_cpu_s : int
        Processor time that no sound file of it needs [s].
    """

    name: str
    module: str
    is_begun_by: Callable[[bytes], bool]
    most_cpu_s: int = 3600

    @property
    def reader(self) -> Reader:
        """The module; loaded when the first such file is read, because some stand on large libraries."""
        return cast(Reader, importlib.import_module(f"records.readers.{self.module}"))


def _first_lines(head: bytes) -> list[str]:
    encoding = "utf-16" if head.startswith((b"\xff\xfe", b"\xfe\xff")) else "utf-8-sig"
    return re.split(r"\r\n|\n|\r", head[:8192].decode(encoding, errors="replace"))


def _is_hdf5(head: bytes) -> bool:
    """Return whether the signature stands at the beginning or after a user block of 512, 1024, … bytes."""
    return any(head[place : place + 8] == _HDF5 for place in (0, *(512 << power for power in range(7))))


def is_configuration(head: bytes) -> bool:
    """Return whether a file is the configuration of a COMTRADE record: its second line counts the channels."""
    lines = _told_lines(head)
    return len(lines) > 2 and "," in lines[0] and _COUNTS.match(lines[1]) is not None


def _told_lines(head: bytes) -> list[str]:
    return [line for line in _first_lines(head) if line.strip("\x1a \t")]


def _is_comtrade(head: bytes) -> bool:
    lines = _told_lines(head)
    return bool(lines and _SINGLE.match(lines[0])) or is_configuration(head)


def _is_touchstone(head: bytes) -> bool:
    """Return whether the first line that is no comment is an option line or states the version."""
    for line in _first_lines(head):
        told = line.split("!", 1)[0].strip()
        if told:
            return bool(_VERSION.match(told) or (_OPTIONS.match(told) and _TELLING.search(told)))
    return False


FORMATS: tuple[Format, ...] = (
    Format("spreadsheet (XLSX)", "spreadsheet", lambda head: head.startswith(b"PK\x03\x04")),
    # Its library was seen to turn in circles over damaged texts (docs/fuzzing.md); sound files take a second or two.
    Format("HDF5", "hierarchical", _is_hdf5, most_cpu_s=6),
    Format("Parquet", "parquet", lambda head: head.startswith(b"PAR1")),
    Format("COMTRADE", "comtrade", _is_comtrade),
    Format("Touchstone", "touchstone", _is_touchstone),
    Format("text in columns", "text", lambda head: True),
)
"""In the order in which they are tried; a new format begins with a row here. Text is what is left."""


def _head(order: Order) -> bytes:
    with order.path.open("rb") as stream:
        return stream.read(SNIFFED_BYTES)


def format_of(head: bytes) -> Format:
    """Return the format of a file from its first 64 KiB.

    Examples
    --------
    >>> format_of(b"PAR1").name
    'Parquet'
    >>> format_of(b"! sweep\\n# Hz S RI R 50\\n").name
    'Touchstone'
    >>> format_of(b"# Bay: 2\\ntime_s,voltage_kv\\n").name
    'text in columns'
    """
    return next(known for known in FORMATS if known.is_begun_by(head))


def ordered(order: Order) -> Order:
    """Return the order with the configuration first where a pair was given; sizes are checked here.

    Raises
    ------
    RecordTooLarge
        The files are larger than the limit.
    CompanionMissing
        Two files were given, and neither is the configuration of the other.
    """
    order.check_size()
    if order.companion is None or is_configuration(_head(order)):
        return order
    turned = replace(order, path=order.companion, companion=order.path)
    if is_configuration(_head(turned)):
        return turned
    raise CompanionMissing(
        "Two files were given as a pair, but neither is the configuration (.cfg) of a COMTRADE record. "
        "Give the configuration with its data file, or each record on its own."
    )


def format_for(order: Order) -> Format:
    """Return the format that the bytes of the file tell."""
    return format_of(_head(order))
