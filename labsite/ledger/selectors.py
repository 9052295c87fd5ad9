"""Reads the ledger: the history of a thing, and whether the account is sound."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.db.models import QuerySet

from labsite.ledger import merkle
from labsite.ledger.models import Entry
from labsite.ledger.models.entry import FIRST_PREVIOUS


@dataclass(frozen=True)
class Anchor:
    """The tree head over the first `count` entries, as it was printed or handed out."""

    count: int
    head: str


@dataclass(frozen=True)
class ChainReport:
    """Whether the ledger is sound, its size and head, and the first bad entry with the reason."""

    is_sound: bool
    count: int
    head: str
    first_bad: int | None = None
    reason: str = ""


def history_of(subject_type: str, subject_id: Any, viewer: Any) -> QuerySet[Entry]:
    """Return the entries about one thing, oldest first. The caller has shown that `viewer` may see the thing."""
    if not (getattr(viewer, "is_authenticated", False) and viewer.is_active):
        return Entry.objects.none()
    return Entry.objects.filter(subject_type=subject_type, subject_id=str(subject_id)).order_by("sequence")


def _digests(count: int | None = None) -> list[bytes]:
    rows = Entry.objects.order_by("sequence").values_list("digest", flat=True)
    return [bytes.fromhex(digest) for digest in (rows if count is None else rows[:count])]


def current_anchor() -> Anchor:
    """Return size and tree head of the ledger now, to be printed where its keeper cannot reach it."""
    digests = _digests()
    return Anchor(len(digests), merkle.tree_head(digests).hex())


def proof_of(sequence: int) -> tuple[list[str], Anchor]:
    """Return the inclusion proof of one entry and the anchor it leads to."""
    digests = _digests()
    proof = merkle.inclusion_proof(sequence - 1, digests)
    return [node.hex() for node in proof], Anchor(len(digests), merkle.tree_head(digests).hex())


def verify_chain(anchor: Anchor | None = None) -> ChainReport:
    """Check every entry in order, and against an older anchor when one is given.

    An altered, missing, inserted or moved entry shows by itself. Entries cut from the end, or a ledger written anew
    from some entry on, show only against an anchor kept elsewhere.
    """
    digests: list[bytes] = []
    previous = FIRST_PREVIOUS
    for entry in Entry.objects.order_by("sequence").iterator(chunk_size=2000):
        reason = _fault(entry, len(digests) + 1, previous)
        if reason:
            return ChainReport(False, len(digests), merkle.tree_head(digests).hex(), len(digests) + 1, reason)
        digests.append(bytes.fromhex(entry.digest))
        previous = entry.digest
    head = merkle.tree_head(digests).hex()
    if anchor is not None and anchor.count > len(digests):
        reason = f"{anchor.count} entries were there before, {len(digests)} are left: the end was cut off."
        return ChainReport(False, len(digests), head, len(digests) + 1, reason)
    if anchor is not None and merkle.tree_head(digests[: anchor.count]).hex() != anchor.head.lower():
        reason = f"The first {anchor.count} entries do not give the head that was kept: the ledger was written anew."
        return ChainReport(False, len(digests), head, None, reason)
    return ChainReport(True, len(digests), head)


def _fault(entry: Entry, expected: int, previous: str) -> str:
    if entry.sequence != expected:
        return f"Entry {expected} is missing; entry {entry.sequence} stands in its place."
    if entry.previous_digest != previous:
        return f"Entry {expected} does not follow the entry before it."
    try:
        is_unaltered = entry.computed_digest() == entry.digest
    except (ValueError, TypeError, AttributeError) as error:
        return f"Entry {expected} cannot be read any more: {error}"
    return "" if is_unaltered else f"Entry {expected} was altered: its digest does not fit its content."
