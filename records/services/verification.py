"""Answers whoever holds a certificate: is this the one that the laboratory issued?"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable
from dataclasses import dataclass

from records.models import Certificate

LARGEST_BYTES = 64 * 2**20
_DIGEST = re.compile(r"[0-9a-f]{64}")


@dataclass(frozen=True)
class Comparison:
    """Whether what was given belongs to the certificate, and the words for it."""

    is_same: bool
    words: str


def digest_of_chunks(chunks: Iterable[bytes]) -> str:
    """Return the SHA-256 of a file that arrives in parts."""
    digest = hashlib.sha256()
    for chunk in chunks:
        digest.update(chunk)
    return digest.hexdigest()


def cleaned_digest(text: str) -> str | None:
    """Return 64 hexadecimal digits without blanks, or None where the text is no digest."""
    digest = "".join(text.split()).lower()
    return digest if _DIGEST.fullmatch(digest) else None


def compare(certificate: Certificate, digest: str) -> Comparison:
    """Compare a digest with that of the issued file and with that of the content that was signed."""
    if digest and digest == certificate.sha256:
        return Comparison(True, "This is the file that the laboratory issued, byte for byte.")
    if digest == certificate.document_digest:
        return Comparison(True, "This is the digest of the content that was signed and is printed on the certificate.")
    return Comparison(
        False,
        "This does not belong to the certificate: the file or the digest is another one. "
        "Do not rely on it; ask the laboratory for the certificate.",
    )
