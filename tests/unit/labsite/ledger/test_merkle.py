"""Tree heads against the published vectors of Certificate Transparency's reference implementation."""

from __future__ import annotations

import pytest

from labsite.ledger import merkle

# Inputs and roots published with the reference log of Certificate Transparency (merkle tree test vectors); from memory.
LEAVES = [
    "",
    "00",
    "10",
    "2021",
    "3031",
    "40414243",
    "5051525354555657",
    "606162636465666768696a6b6c6d6e6f",
]
ROOTS = {
    1: "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    2: "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    3: "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    4: "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    8: "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
}
HASHES = [merkle.leaf_hash(bytes.fromhex(leaf)) for leaf in LEAVES]


@pytest.mark.parametrize("size", sorted(ROOTS))
def test_heads_equal_the_published_roots(size):
    assert merkle.tree_head(HASHES[:size]).hex() == ROOTS[size]


def test_an_empty_tree_has_the_hash_of_nothing():
    assert merkle.tree_head([]).hex() == "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"


def test_every_leaf_of_every_small_tree_is_proved_and_no_other():
    for size in range(1, 34):
        leaves = [merkle.leaf_hash(bytes([number])) for number in range(size)]
        head = merkle.tree_head(leaves)
        for index in range(size):
            proof = merkle.inclusion_proof(index, leaves)
            assert merkle.is_included(leaves[index], index, size, proof, head)
            assert not merkle.is_included(merkle.leaf_hash(b"other"), index, size, proof, head)
            assert not merkle.is_included(leaves[index], index, size, [*proof, head], head)


def test_every_older_tree_is_shown_to_have_only_grown():
    for size in range(1, 26):
        leaves = [merkle.leaf_hash(bytes([number])) for number in range(size)]
        head = merkle.tree_head(leaves)
        for older in range(1, size + 1):
            proof = merkle.consistency_proof(older, leaves)
            older_head = merkle.tree_head(leaves[:older])
            assert merkle.is_consistent(older, older_head, size, head, proof)
            assert not merkle.is_consistent(older, merkle.leaf_hash(b"other"), size, head, proof)


def test_a_tree_altered_in_its_past_is_not_consistent():
    leaves = [merkle.leaf_hash(bytes([number])) for number in range(12)]
    altered = [merkle.leaf_hash(b"other"), *leaves[1:]]
    proof = merkle.consistency_proof(7, altered)
    assert not merkle.is_consistent(7, merkle.tree_head(leaves[:7]), 12, merkle.tree_head(altered), proof)


def test_proofs_of_what_is_not_there_are_refused():
    with pytest.raises(IndexError, match="Leaf 8"):
        merkle.inclusion_proof(8, HASHES)
    with pytest.raises(ValueError, match="1 to 8"):
        merkle.consistency_proof(0, HASHES)
