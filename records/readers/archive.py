"""What is checked of a zip container before anything in it is used: it must not unpack to more than it may."""

from __future__ import annotations

import re
import stat
import zipfile
import zlib
from dataclasses import dataclass
from pathlib import Path

from records.readers.recording import Limits
from records.readers.refusals import ContentNotKnown, RecordDamaged, RecordRefused, RecordUnsafe

_MOST_MEMBERS = 1000
_SMALL_BYTES = 1024 * 1024  # below this a member may be as compressible as it likes
_CHUNK_BYTES = 1024 * 1024
_ENTITIES = tuple(
    word.encode(codec) for word in ("<!DOCTYPE", "<!ENTITY") for codec in ("utf-8", "utf-16-le", "utf-16-be")
)
_DECLARED = re.compile(rb"<\?xml[^>]*encoding\s*=\s*[\"']([^\"']*)[\"']", re.IGNORECASE)
_CODES = (b"utf-8", b"utf8", b"utf-16", b"utf-16le", b"utf-16be", b"us-ascii", b"ascii", b"iso-8859-1")
_MEND = "Save the table again as an XLSX workbook with values only, or as CSV."
_OTHERS = (
    ("xl/workbook.bin", "a binary workbook (XLSB)"),
    ("mimetype", "an OpenDocument file"),
    ("word/document.xml", "a text document"),
    ("ppt/presentation.xml", "a presentation"),
)


@dataclass(frozen=True)
class Checked:
    """A container that is safe to unpack: names of its members, and what was odd."""

    names: tuple[str, ...]
    oddities: tuple[str, ...]


def check_workbook(path: Path, limits: Limits) -> Checked:
    """Return what a workbook holds, after every member was unpacked once and counted.

    Parameters
    ----------
    path : Path
        The container.
    limits : Limits
        `Limits.max_unpacked_bytes` and `Limits.max_ratio` bind.

    Returns
    -------
    Checked
        Names and oddities.

    Raises
    ------
    RecordDamaged
        It is no zip container, or its contents do not agree with its directory.
    RecordUnsafe
        Too many members, too large, too compressed, encrypted, names that reach outside, entities, other workbooks.
    ContentNotKnown
        It is no workbook of this kind.

    Notes
    -----
    Sizes in the directory are checked first, because they cost nothing; then the bytes are counted while they are
    unpacked, because a directory may lie.
    """
    try:
        with zipfile.ZipFile(path) as container:
            members = container.infolist()
            _check_directory(members, limits)
            _check_kind({member.filename for member in members})
            left = limits.max_unpacked_bytes
            for member in members:
                left -= _check_member(container, member, left)
    except RecordRefused:
        raise
    except (zipfile.BadZipFile, zlib.error, OSError, EOFError, ValueError, RuntimeError) as fault:
        raise RecordDamaged(
            "The file begins as a zip container but is none that can be unpacked "
            f"({' '.join(str(fault).split())[:100]}). Fetch it again."
        ) from fault
    names = tuple(member.filename for member in members)
    has_macros = any(name.casefold().endswith("vbaproject.bin") for name in names)
    return Checked(names, ("The workbook holds macros; they were not run.",) if has_macros else ())


def _check_directory(members: list[zipfile.ZipInfo], limits: Limits) -> None:
    if len(members) > _MOST_MEMBERS:
        raise RecordUnsafe(f"The workbook has {len(members)} parts; the limit is {_MOST_MEMBERS}. {_MEND}")
    total = sum(member.file_size for member in members)
    if total > limits.max_unpacked_bytes:
        raise RecordUnsafe(
            f"The workbook unpacks to {total / 1e6:.0f} MB; the limit is {limits.max_unpacked_bytes / 1e6:.0f} MB. "
            f"{_MEND}"
        )
    if len({member.filename for member in members}) != len(members):
        raise RecordUnsafe(f"Two parts of the workbook have one name. {_MEND}")
    for member in members:
        name = member.filename.replace("\\", "/")
        if name.startswith("/") or ".." in name.split("/") or stat.S_ISLNK(member.external_attr >> 16):
            raise RecordUnsafe(f"The part “{name[:60]}” reaches outside the workbook. {_MEND}")
        if member.flag_bits & 1:
            raise RecordUnsafe(f"The workbook is encrypted. {_MEND}")
        if member.file_size > _SMALL_BYTES and member.file_size > limits.max_ratio * member.compress_size:
            raise RecordUnsafe(
                f"The part “{name[:60]}” grows {member.file_size / max(member.compress_size, 1):.0f} times when it is "
                f"unpacked; the limit is {limits.max_ratio}. {_MEND}"
            )


def _check_kind(names: set[str]) -> None:
    if any(name.startswith("xl/externalLinks/") for name in names):
        raise RecordUnsafe(f"The workbook takes values from other workbooks. {_MEND}")
    if "xl/workbook.xml" in names:
        return
    what = next((words for name, words in _OTHERS if name in names), "a zip container, but not a spreadsheet")
    raise ContentNotKnown(f"The file is {what}. {_MEND}")


def _check_code(name: str, first: bytes) -> None:
    """Refuse XML in a code in which what is looked for would not be seen."""
    stated = _DECLARED.search(first[:400].replace(b"\0", b""))
    if stated and stated[1].lower() not in _CODES:
        raise RecordUnsafe(f"The part “{name[:60]}” is in the code “{stated[1].decode('latin-1')[:20]}”. {_MEND}")


def _check_member(container: zipfile.ZipFile, member: zipfile.ZipInfo, most: int) -> int:
    """Unpack one member without keeping it; return its size."""
    size, tail = 0, b""
    with container.open(member) as stream:
        while chunk := stream.read(_CHUNK_BYTES):
            size += len(chunk)
            is_bomb = size > _SMALL_BYTES and size > 1000 * max(member.compress_size, 1)
            if size > most or is_bomb:
                raise RecordUnsafe(f"The workbook unpacks to more than it says or may. {_MEND}")
            if not tail:
                _check_code(member.filename, chunk)
            window = tail + chunk
            if any(word in window for word in _ENTITIES):
                raise RecordUnsafe(f"The part “{member.filename[:60]}” defines entities of its own. {_MEND}")
            tail = window[-32:]
    return size
