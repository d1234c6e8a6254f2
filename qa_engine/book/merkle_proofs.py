"""Proofs about a Merkle tree that a reader checks without the book: RFC 9162, section 2.1.3 on.

An inclusion proof shows that an entry is in the tree of a tree head; a consistency proof shows
that a later tree holds all of an earlier one, unchanged and in the same order.
"""

from collections.abc import Sequence

from qa_engine.book.merkle import EMPTY_ROOT, Frontier, leaf_hash, node_hash
from qa_engine.errors import BookError


def inclusion_proof(digests: Sequence[bytes], index: int) -> list[bytes]:
    """Return the hashes that lead from one leaf to the root of the tree over all of them.

    Args:
        digests: what the leaves hold.
        index: which leaf, counted from 0.
    """
    if not 0 <= index < len(digests):
        raise BookError(f"there is no leaf {index} in a tree of {len(digests)}")
    return _path([leaf_hash(digest) for digest in digests], index)


def _path(hashes: Sequence[bytes], index: int) -> list[bytes]:
    if len(hashes) == 1:
        return []
    split = _split(len(hashes))
    if index < split:
        return [*_path(hashes[:split], index), _root(hashes[split:])]
    return [*_path(hashes[split:], index - split), _root(hashes[:split])]


def consistency_proof(digests: Sequence[bytes], earlier: int) -> list[bytes]:
    """Return the hashes that show the tree over the first leaves to be the start of this one.

    Args:
        digests: what the leaves of the later tree hold.
        earlier: how many leaves the earlier tree has.
    """
    if not 0 <= earlier <= len(digests):
        raise BookError(f"a tree of {len(digests)} leaves has no beginning of {earlier}")
    if earlier in (0, len(digests)):
        return []
    return _steps([leaf_hash(digest) for digest in digests], earlier, whole=True)


def _steps(hashes: Sequence[bytes], earlier: int, *, whole: bool) -> list[bytes]:
    if earlier == len(hashes):
        return [] if whole else [_root(hashes)]
    split = _split(len(hashes))
    if earlier <= split:
        return [*_steps(hashes[:split], earlier, whole=whole), _root(hashes[split:])]
    return [*_steps(hashes[split:], earlier - split, whole=False), _root(hashes[:split])]


def _split(size: int) -> int:
    """Return the largest power of two below a size of two or more."""
    return 1 << (size - 1).bit_length() - 1


def _root(hashes: Sequence[bytes]) -> bytes:
    return Frontier().append_hashes(list(hashes)).root


def is_included(digest: bytes, index: int, size: int, proof: Sequence[bytes], root: bytes) -> bool:
    """Return whether a proof shows that a leaf is in the tree of this size and root.

    Source: the procedure of RFC 9162, section 2.1.3.2.
    """
    if not 0 <= index < size:
        return False
    place, last, found = index, size - 1, leaf_hash(digest)
    for step in proof:
        if last == 0:
            return False
        if place & 1 or place == last:
            found = node_hash(step, found)
            place, last = _up_to_a_right_turn(place, last)
        else:
            found = node_hash(found, step)
        place, last = place >> 1, last >> 1
    return last == 0 and found == root


def is_consistent(
    earlier: int, earlier_root: bytes, later: int, later_root: bytes, proof: Sequence[bytes]
) -> bool:
    """Return whether a proof shows the earlier tree to be the beginning of the later one.

    Source: the procedure of RFC 9162, section 2.1.4.2.
    """
    if not 0 <= earlier <= later:
        return False
    if earlier == later:
        return not proof and earlier_root == later_root
    if earlier == 0:
        return not proof and earlier_root == EMPTY_ROOT
    steps = list(proof) if earlier & (earlier - 1) else [earlier_root, *proof]
    return bool(steps) and _leads_to_both(steps, earlier - 1, later - 1, earlier_root, later_root)


def _leads_to_both(
    steps: list[bytes], place: int, last: int, earlier_root: bytes, later_root: bytes
) -> bool:
    while place & 1:
        place, last = place >> 1, last >> 1
    before = after = steps[0]
    for step in steps[1:]:
        if last == 0:
            return False
        if place & 1 or place == last:
            before, after = node_hash(step, before), node_hash(step, after)
            place, last = _up_to_a_right_turn(place, last)
        else:
            after = node_hash(after, step)
        place, last = place >> 1, last >> 1
    return last == 0 and before == earlier_root and after == later_root


def _up_to_a_right_turn(place: int, last: int) -> tuple[int, int]:
    """Go up while the place is a left child without a sister: nothing is hashed there."""
    while place and not place & 1:
        place, last = place >> 1, last >> 1
    return place, last
