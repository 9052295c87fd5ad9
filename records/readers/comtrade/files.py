"""The files of a COMTRADE record: a pair, or the sections of a single file, as text and bytes with one digest."""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass

from records.readers.order import Order
from records.readers.refusals import CompanionMissing, RecordDamaged, RecordTruncated

_SECTION = re.compile(
    rb"^---[ \t]*file[ \t]+type:[ \t]*(CFG|INF|HDR|DAT)(?:[ \t]+([A-Z0-9]+))?"
    rb"[ \t]*(?::[ \t]*(\d+))?[ \t]*---[ \t]*\r?\n",
    re.IGNORECASE | re.MULTILINE,
)
_MEND = "Fetch the record from the instrument again."


@dataclass(frozen=True)
class Files:
    """Configuration as text, data as bytes, the type that a single file states for its data, digest, oddities."""

    configuration: str
    data: bytes
    stated_type: str
    sha256: str
    oddities: tuple[str, ...]


def open_files(order: Order) -> Files:
    """Return the parts of the record.

    Raises
    ------
    CompanionMissing
        Only the configuration of a pair was given.
    RecordDamaged, RecordTruncated
        A single file lacks a section, or its data are shorter than it says.
    """
    content = order.path.read_bytes()
    digest = hashlib.sha256(content).hexdigest()
    if re.match(rb"(?:\xef\xbb\xbf)?\s*---", content):
        if order.companion is not None:
            raise RecordDamaged("The record is a single file (.cff) and needs no second one. Give it alone.")
        return _single(content, digest)
    if order.companion is None:
        raise CompanionMissing(
            "The file is the configuration of a COMTRADE record (.cfg); its samples are in the data file (.dat) beside "
            "it. Give both, or export the record as a single file (.cff)."
        )
    data = order.companion.read_bytes()
    both = digest + hashlib.sha256(data).hexdigest()
    text, said = decoded(content)
    return Files(text, data, "", hashlib.sha256(both.encode()).hexdigest(), said)


def _single(content: bytes, digest: str) -> Files:
    sections = list(_SECTION.finditer(content))
    names = [match[1].upper() for match in sections]
    if b"CFG" not in names or b"DAT" not in names:
        raise RecordDamaged(f"The single file has no section of configuration, or none of data. {_MEND}")
    # Bytes of the data may look like a section, so what follows the first heading of data is data.
    place = names.index(b"DAT")
    if names.index(b"CFG") > place:
        raise RecordDamaged(f"The single file has its data before its configuration. {_MEND}")
    starts = [match.start() for match in sections[: place + 1]]
    configuration = sections[names.index(b"CFG")]
    end = next(start for start in starts if start >= configuration.end())
    text, said = decoded(content[configuration.end() : end])
    heading = sections[place]
    data = content[heading.end() :]
    if heading[3] is not None:
        stated = int(heading[3])
        if len(data) < stated:
            raise RecordTruncated(f"The data have {len(data)} bytes of {stated}: the file is cut off. {_MEND}")
        data = data[:stated]
    return Files(text, data, (heading[2] or b"").decode().upper(), digest, said)


def decoded(content: bytes) -> tuple[str, tuple[str, ...]]:
    """Return text of a configuration, and that it is in an older code page where it is not UTF-8."""
    try:
        return content.decode("utf-8-sig"), ()
    except UnicodeDecodeError:
        said = "Names are not in UTF-8; they were read as Latin-1, and letters beyond a to z may be others."
        return content.decode("latin-1"), (said,)
