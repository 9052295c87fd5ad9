"""The bytes of one file: measured, hashed and brought into the form that columns are read from."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from records.readers.decoding import Encoding, decode, recognise
from records.readers.dialect import Dialect
from records.readers.refusals import RecordEmpty

SNIFFED_BYTES = 64 * 1024
_CHUNK_BYTES = 1024 * 1024
_ENDS = re.compile(r"\r\n|\n|\r")
_LONE_RETURN = re.compile(rb"\r(?!\n|$)")


@dataclass(frozen=True)
class Source:
    """A file that was looked at but not yet read.

    Attributes
    ----------
    path : Path
        Where it is.
    size : int
        Length [bytes].
    encoding : Encoding
        As recognised from its first 64 KiB.
    head_lines : tuple of str
        First lines, whole ones only.
    has_lone_returns : bool
        Whether lines end in carriage return alone, which column readers take for one single line.
    """

    path: Path
    size: int
    encoding: Encoding
    head_lines: tuple[str, ...]
    has_lone_returns: bool


@dataclass(frozen=True)
class Measure:
    """What one pass over the file's bytes told: SHA-256, number of line feeds, last bytes."""

    sha256: str
    line_feeds: int
    tail: bytes


def look_at(path: Path) -> Source:
    """Return what the first 64 KiB of a file tell.

    Raises
    ------
    RecordEmpty
        There are no bytes, or only blanks.
    RecordNotText, EncodingUnreadable, RecordTruncated
        As `recognise` says.
    """
    size = path.stat().st_size
    with path.open("rb") as stream:
        head = stream.read(SNIFFED_BYTES)
    if not head.strip(b" \t\r\n\0\xef\xbb\xbf\xff\xfe\x1a"):
        raise RecordEmpty("The file is empty. Check the export on the instrument and upload the record again.")
    encoding = recognise(head, is_whole=size <= len(head))
    text = head[encoding.mark :].decode(encoding.name, errors="ignore")
    lines = _ENDS.split(text)
    if size > len(head) and len(lines) > 1:
        lines.pop()
    lone = encoding.is_bytewise and _LONE_RETURN.search(head[:-1]) is not None
    return Source(path, size, encoding, tuple(lines), lone)


def measure(path: Path) -> Measure:
    """Return digest, number of line feeds and last bytes in one pass that holds 1 MiB at a time."""
    digest, feeds, tail = hashlib.sha256(), 0, b""
    with path.open("rb") as stream:
        while chunk := stream.read(_CHUNK_BYTES):
            digest.update(chunk)
            feeds += chunk.count(b"\n")
            tail = (tail + chunk[-4096:])[-4096:]
    return Measure(digest.hexdigest(), feeds, tail)


def is_straight(source: Source, dialect: Dialect) -> bool:
    """Return whether columns can be read from the file as it stands, without a copy in memory."""
    return (
        source.encoding.is_bytewise
        and not source.has_lone_returns
        and dialect.separator != " "
        and not (source.encoding.mark and dialect.first_row == 0)
    )


def text_bytes(source: Source) -> bytes:
    """Return the whole file as bytes with ASCII separators, line feeds only and no mark."""
    content = source.path.read_bytes()
    if source.encoding.is_bytewise:
        content = content[source.encoding.mark :]
    else:
        content = decode(content, source.encoding).encode("utf-8")
    if b"\r" in content:
        content = content.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    return content


def table_bytes(content: bytes, dialect: Dialect) -> bytes:
    """Return the rows of numbers only: no blank lines, no padding, runs of blanks as one tab."""
    rows = content.split(b"\n", dialect.first_row)[-1].rstrip(b" \t\n\x1a")
    pad = rb"[ ]" if dialect.separator == "\t" else rb"[ \t]"
    rows = re.sub(rb"(?m)^" + pad + rb"+|" + pad + rb"+$", b"", rows)
    rows = re.sub(rb"\n{2,}", b"\n", rows).lstrip(b"\n")
    if dialect.separator == " ":
        return re.sub(rb"[ \t]+", b"\t", rows)
    mark = re.escape(dialect.separator.encode())
    return re.sub(rb" *" + mark + rb" *", dialect.separator.encode(), rows)


def numbered_rows(content: bytes, dialect: Dialect) -> Iterator[tuple[int, str]]:
    """Yield the rows of numbers that are not blank, each with its line in the file counted from 1."""
    start, line = 0, 0
    while start <= len(content):
        end = content.find(b"\n", start)
        end = len(content) if end < 0 else end
        line += 1
        if line > dialect.first_row:
            text = content[start:end].decode("utf-8", errors="replace").strip("\r\x1a")
            if text.strip():
                yield line, text
        start = end + 1
