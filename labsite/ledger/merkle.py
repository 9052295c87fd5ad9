"""Tree heads and proofs over digests, as RFC 9162 section 2.1 defines them. Pure: no Django, no clock, no database."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence

EMPTY_HEAD = hashlib.sha256(b"").digest()


def leaf_hash(data: bytes) -> bytes:
    """Return the leaf hash of `data`: SHA-256 over a zero byte and the data.

    Examples
    --------
    >>> leaf_hash(b"").hex()[:8]
    '6e340b9c'
    """
    return hashlib.sha256(b"\x00" + data).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    """Return the hash of an inner node: SHA-256 over a one byte, the left and the right hash."""
    return hashlib.sha256(b"\x01" + left + right).digest()


def _split(size: int) -> int:
    """Return the largest power of two smaller than `size`."""
    return 1 << (size - 1).bit_length() - 1


def tree_head(leaves: Sequence[bytes]) -> bytes:
    """Return the tree head over leaf hashes, level by level (an odd last node moves up unchanged)."""
    level = list(leaves)
    if not level:
        return EMPTY_HEAD
    while len(level) > 1:
        paired = [node_hash(level[i], level[i + 1]) for i in range(0, len(level) - 1, 2)]
        level = paired + level[len(level) - len(level) % 2 :]
    return level[0]


def inclusion_proof(index: int, leaves: Sequence[bytes]) -> list[bytes]:
    """Return the path that shows that leaf `index` (from 0) is in the tree (RFC 9162 section 2.1.3.1).

    Raises
    ------
    IndexError
        When there is no such leaf.
    """
    if not 0 <= index < len(leaves):
        raise IndexError(f"Leaf {index} is not among {len(leaves)} leaves.")
    if len(leaves) == 1:
        return []
    half = _split(len(leaves))
    if index < half:
        return [*inclusion_proof(index, leaves[:half]), tree_head(leaves[half:])]
    return [*inclusion_proof(index - half, leaves[half:]), tree_head(leaves[:half])]


def is_included(leaf: bytes, index: int, size: int, proof: Sequence[bytes], head: bytes) -> bool:
    """Say whether the proof leads from the leaf to the head (RFC 9162 section 2.1.3.2)."""
    if not 0 <= index < size:
        return False
    at, last, current = index, size - 1, leaf
    for node in proof:
        if last == 0:
            return False
        if at & 1 or at == last:
            current = node_hash(node, current)
            while not at & 1 and at != 0:
                at, last = at >> 1, last >> 1
        else:
            current = node_hash(current, node)
        at, last = at >> 1, last >> 1
    return last == 0 and current == head


def consistency_proof(older: int, leaves: Sequence[bytes]) -> list[bytes]:
    """Return the path that shows that the tree of the first `older` leaves only grew (RFC 9162 section 2.1.4.1).

    Raises
    ------
    ValueError
        When the older tree is empty or larger than the present one.
    """
    if not 0 < older <= len(leaves):
        raise ValueError(f"The older tree has {older} leaves; it must have 1 to {len(leaves)}.")
    return _subproof(older, leaves, True)


def _subproof(older: int, leaves: Sequence[bytes], is_whole: bool) -> list[bytes]:
    if older == len(leaves):
        return [] if is_whole else [tree_head(leaves)]
    half = _split(len(leaves))
    if older <= half:
        return [*_subproof(older, leaves[:half], is_whole), tree_head(leaves[half:])]
    return [*_subproof(older - half, leaves[half:], False), tree_head(leaves[:half])]


def is_consistent(older: int, older_head: bytes, size: int, head: bytes, proof: Sequence[bytes]) -> bool:
    """Say whether the proof shows that nothing among the first `older` leaves changed (RFC 9162 section 2.1.4.2)."""
    if older == size:
        return not proof and older_head == head
    if not 0 < older < size or not proof:
        return False
    path = list(proof) if older & (older - 1) else [older_head, *proof]
    at, last = older - 1, size - 1
    while at & 1:
        at, last = at >> 1, last >> 1
    first = second = path[0]
    for node in path[1:]:
        if last == 0:
            return False
        if at & 1 or at == last:
            first, second = node_hash(node, first), node_hash(node, second)
            while not at & 1 and at != 0:
                at, last = at >> 1, last >> 1
        else:
            second = node_hash(second, node)
        at, last = at >> 1, last >> 1
    return last == 0 and first == older_head and second == head
