"""The Merkle tree: against published vectors and against the definition, size by size."""

from hashlib import sha256

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qa_engine.book.merkle import EMPTY_ROOT, Frontier, leaf_hash, root_of
from qa_engine.book.merkle_proofs import (
    consistency_proof,
    inclusion_proof,
    is_consistent,
    is_included,
)
from qa_engine.errors import BookError

# Leaves, roots and proofs of the test suite of the Certificate Transparency project's reference
# implementation of RFC 6962 (merkle tree tests), whose tree RFC 9162 keeps.
LEAVES = [
    bytes.fromhex(leaf)
    for leaf in (
        "",
        "00",
        "10",
        "2021",
        "3031",
        "40414243",
        "5051525354555657",
        "606162636465666768696a6b6c6d6e6f",
    )
]
ROOTS = [
    "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
]
INCLUSION = {
    (0, 8): [
        "96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7",
        "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
        "6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4",
    ],
    (5, 8): [
        "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
        "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0",
        "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    ],
}
CONSISTENCY = {
    (1, 1): [],
    (1, 8): [
        "96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7",
        "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
        "6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4",
    ],
    (6, 8): [
        "0ebc5d3437fbe2db158b9f126a1d118e308181031d0a949f8dededebc558ef6a",
        "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0",
        "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    ],
    (2, 5): [
        "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
        "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
    ],
}
UP_TO = 70


def digests(count):
    return [sha256(b"%d" % number).digest() for number in range(count)]


def defined_root(held):
    """The definition of RFC 9162, section 2.1.1, word for word."""
    if not held:
        return sha256(b"").digest()
    if len(held) == 1:
        return sha256(b"\x00" + held[0]).digest()
    split = 1
    while split * 2 < len(held):
        split *= 2
    return sha256(b"\x01" + defined_root(held[:split]) + defined_root(held[split:])).digest()


def hexes(hashes):
    return [one.hex() for one in hashes]


@pytest.mark.parametrize("size", range(9))
def test_a_root_is_the_published_one(size):
    assert root_of(LEAVES[:size]).hex() == ROOTS[size]


@pytest.mark.parametrize(("place", "size"), INCLUSION)
def test_an_inclusion_proof_is_the_published_one(place, size):
    proof = inclusion_proof(LEAVES[:size], place)
    assert hexes(proof) == INCLUSION[place, size]
    assert is_included(LEAVES[place], place, size, proof, bytes.fromhex(ROOTS[size]))


@pytest.mark.parametrize(("earlier", "later"), CONSISTENCY)
def test_a_consistency_proof_is_the_published_one(earlier, later):
    proof = consistency_proof(LEAVES[:later], earlier)
    assert hexes(proof) == CONSISTENCY[earlier, later]
    roots = [bytes.fromhex(root) for root in ROOTS]
    assert is_consistent(earlier, roots[earlier], later, roots[later], proof)


@pytest.mark.parametrize("size", range(UP_TO + 1))
def test_a_root_is_the_defined_one_whether_leaves_come_singly_or_together(size):
    held = digests(size)
    singly = Frontier()
    for digest in held:
        singly = singly.append([digest])
    assert singly == Frontier().append(held)
    assert singly.size == size
    assert singly.root == defined_root(held)


@settings(deadline=None)
@given(st.lists(st.integers(0, 40), max_size=8))
def test_the_frontier_is_the_same_however_leaves_are_parted(parts):
    held, frontier = digests(sum(parts)), Frontier()
    for part in parts:
        added = held[frontier.size : frontier.size + part]
        frontier = Frontier.from_bytes(frontier.append(added).to_bytes())
    assert frontier == Frontier().append(held)


@pytest.mark.parametrize("written", [b"", bytes(7), bytes(40), b"\x00" * 7 + b"\x03" + bytes(32)])
def test_bytes_that_are_no_frontier_are_refused(written):
    with pytest.raises(BookError, match=f"{len(written)} bytes are no frontier"):
        Frontier.from_bytes(written)


@pytest.mark.parametrize("size", range(1, UP_TO + 1))
def test_every_leaf_is_shown_to_be_in_the_tree_at_its_place_only(size):
    held, root = digests(size), defined_root(digests(size))
    for place in range(size):
        proof = inclusion_proof(held, place)
        assert is_included(held[place], place, size, proof, root)
        assert not is_included(held[place - 1], place, size, proof, root) or size == 1
        assert not is_included(held[place], (place + 1) % size, size, proof, root) or size == 1
        assert not is_included(held[place], place, size, [*proof, root], root)
        assert not is_included(held[place], place, size, proof[:-1], root) or size == 1


@pytest.mark.parametrize("later", range(UP_TO + 1))
def test_every_earlier_tree_is_shown_to_be_the_beginning(later):
    held = digests(later)
    root = defined_root(held)
    for earlier in range(later + 1):
        proof, before = consistency_proof(held, earlier), defined_root(held[:earlier])
        assert is_consistent(earlier, before, later, root, proof)
        other = sha256(before).digest()
        assert not is_consistent(earlier, other, later, root, proof)
        assert not is_consistent(earlier, before, later, other, proof) or earlier == 0
        assert not is_consistent(earlier, before, later, root, [*proof, other])
        if proof:
            assert not is_consistent(earlier, before, later, root, proof[:-1])
            assert not is_consistent(earlier, before, later, root, [other, *proof[1:]])


@pytest.mark.parametrize("later", [5, 8, 21])
def test_a_tree_with_another_past_is_never_shown_consistent(later):
    held = digests(later)
    for earlier in range(1, later):
        before = defined_root([sha256(b"other").digest(), *held[1:earlier]])
        proof = consistency_proof(held, earlier)
        assert not is_consistent(earlier, before, later, defined_root(held), proof)


def test_proofs_of_what_is_not_there_are_refused():
    with pytest.raises(BookError, match="no leaf 3 in a tree of 3"):
        inclusion_proof(digests(3), 3)
    with pytest.raises(BookError, match="tree of 3 leaves has no beginning of 4"):
        consistency_proof(digests(3), 4)
    assert not is_included(digests(1)[0], 1, 1, [], root_of(digests(1)))
    assert not is_consistent(2, EMPTY_ROOT, 1, EMPTY_ROOT, [])


def test_a_node_cannot_pass_for_a_leaf():
    left, right = (leaf_hash(digest) for digest in digests(2))
    assert root_of([left + right]) != root_of(digests(2))
