"""Bytes of a file to text: byte-order marks, UTF-16, Latin-1, and what is no text at all."""

from __future__ import annotations

import codecs
from dataclasses import dataclass

from records.readers.refusals import EncodingUnreadable, RecordNotText, RecordTruncated

_MAGIC = (
    (b"%PDF", "a PDF document"),
    (b"\x89PNG", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
    (b"GIF8", "a picture"),
    (b"\x1f\x8b", "a compressed file"),
    (b"\xd0\xcf\x11\xe0", "an old office document"),
    (b"\x7fELF", "a program"),
    (b"MZ", "a program"),
)
_MEND = "Export the record from the instrument as text (CSV) and upload that."


@dataclass(frozen=True)
class Encoding:
    """How the bytes are to be read: Python's name of the codec, length of the mark before it [bytes]."""

    name: str
    mark: int = 0

    @property
    def is_bytewise(self) -> bool:
        """Whether separators and digits are single ASCII bytes, so that the table can be read without decoding."""
        return self.name in ("utf-8", "latin-1")


def recognise(head: bytes, *, is_whole: bool) -> Encoding:
    """Return the encoding of a file from its first bytes.

    Parameters
    ----------
    head : bytes
        First 64 KiB at most.
    is_whole : bool
        Whether `head` is the whole file.

    Returns
    -------
    Encoding
        UTF-8 where the bytes are valid UTF-8, UTF-16 by mark or by its pattern of zero bytes, else Latin-1.

    Raises
    ------
    RecordNotText
        The bytes are of a binary format.
    EncodingUnreadable
        The bytes are text in an encoding that is not recognised, as UTF-32.
    """
    for magic, what in _MAGIC:
        if head.startswith(magic):
            raise RecordNotText(f"The file is {what}, not columns of text. {_MEND}")
    if head.startswith((codecs.BOM_UTF32_LE, codecs.BOM_UTF32_BE)):
        raise EncodingUnreadable("The file is in UTF-32, which no instrument should write. Save it as UTF-8 and retry.")
    if head.startswith(codecs.BOM_UTF8):
        return Encoding("utf-8", 3)
    if head.startswith(codecs.BOM_UTF16_LE):
        return Encoding("utf-16-le", 2)
    if head.startswith(codecs.BOM_UTF16_BE):
        return Encoding("utf-16-be", 2)
    if b"\0" in head:
        return _wide_or_binary(head)
    _refuse_control_bytes(head)
    try:
        codecs.getincrementaldecoder("utf-8")().decode(head, final=is_whole)
    except UnicodeDecodeError:
        return Encoding("latin-1")
    return Encoding("utf-8")


def _wide_or_binary(head: bytes) -> Encoding:
    even, odd = head[0::2].count(0), head[1::2].count(0)
    half = max(len(head) // 2, 1)
    if odd > 0.7 * half and even < 0.02 * half:
        return Encoding("utf-16-le")
    if even > 0.7 * half and odd < 0.02 * half:
        return Encoding("utf-16-be")
    text = head.rstrip(b"\0")
    if text and b"\0" not in text and text.count(b"\n") > 1:
        raise RecordTruncated(
            "The file ends in zero bytes: the instrument was switched off, or its disk was full, while it wrote. "
            "Fetch the record from the instrument again.",
            row=text.count(b"\n") + 1,
        )
    raise RecordNotText(f"The file is binary, not columns of text. {_MEND}")


def _refuse_control_bytes(head: bytes) -> None:
    odd = sum(head.count(bytes([code])) for code in range(32) if code not in (9, 10, 12, 13, 26, 27))
    if odd > max(2, 0.005 * len(head)):
        raise RecordNotText(f"The file is binary, not columns of text. {_MEND}")


def decode(content: bytes, encoding: Encoding) -> str:
    """Return the text of a whole file, without its byte-order mark.

    Raises
    ------
    EncodingUnreadable
        A byte sequence is not of the encoding that the file begins with; the place is named.
    """
    try:
        return content[encoding.mark :].decode(encoding.name)
    except UnicodeDecodeError as fault:
        raise EncodingUnreadable(
            f"The file begins as {encoding.name} but byte {fault.start + encoding.mark} is none. "
            "Fetch the record again, or save it as UTF-8."
        ) from fault
