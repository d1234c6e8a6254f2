"""The Merkle tree over the digests of a record book: RFC 9162, section 2.1.

A leaf is hashed with a zero byte before it, a node with a one byte before its two children, so
that neither can pass for the other. The tree of n leaves splits at the largest power of two below
n. The root of the empty tree is the hash of nothing.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from hashlib import sha256

from qa_engine.errors import BookError

EMPTY_ROOT = sha256(b"").digest()
HASH_BYTES = 32


def leaf_hash(digest: bytes) -> bytes:
    """Return the hash of a leaf."""
    return sha256(b"\x00" + digest).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    """Return the hash of a node over its two children."""
    return sha256(b"\x01" + left + right).digest()


@dataclass(frozen=True)
class Frontier:
    """All that is needed of a tree to add leaves to it: the roots of its perfect parts.

    Attributes:
        size: how many leaves the tree has.
        nodes: the roots of its perfect subtrees, the largest (leftmost) first; as many as ``size``
            has ones in binary.
    """

    size: int = 0
    nodes: tuple[bytes, ...] = ()

    def append(self, digests: Iterable[bytes]) -> "Frontier":
        """Return the frontier after more leaves, given what the leaves hold."""
        return self.append_hashes([sha256(b"\x00" + digest).digest() for digest in digests])

    def append_hashes(self, row: list[bytes]) -> "Frontier":
        """Return the frontier after more leaves, given the leaves' hashes."""
        size, waiting, kept = self.size + len(row), list(self.nodes), []
        level = 0
        while row or waiting:
            if self.size >> level & 1:
                row = [waiting.pop(), *row]
            if len(row) % 2:
                kept.append(row.pop())
            row = _parents(row)
            level += 1
        return Frontier(size, tuple(reversed(kept)))

    @property
    def root(self) -> bytes:
        """The root of the tree."""
        if not self.nodes:
            return EMPTY_ROOT
        found = self.nodes[-1]
        for left in reversed(self.nodes[:-1]):
            found = node_hash(left, found)
        return found

    def to_bytes(self) -> bytes:
        """Return the frontier as bytes: the size in eight, the highest first, then the nodes."""
        return self.size.to_bytes(8, "big") + b"".join(self.nodes)

    @classmethod
    def from_bytes(cls, written: bytes) -> "Frontier":
        """Read back a frontier.

        Raises:
            BookError: the bytes are none.
        """
        size, rest = int.from_bytes(written[:8], "big"), written[8:]
        if len(written) < 8 or len(rest) != HASH_BYTES * size.bit_count():
            raise BookError(f"{len(written)} bytes are no frontier of a tree of {size} leaves")
        steps = range(0, len(rest), HASH_BYTES)
        return cls(size, tuple(rest[step : step + HASH_BYTES] for step in steps))


def _parents(row: Sequence[bytes]) -> list[bytes]:
    pairs = zip(row[::2], row[1::2], strict=True)
    return [sha256(b"\x01" + left + right).digest() for left, right in pairs]


def root_of(digests: Iterable[bytes]) -> bytes:
    """Return the root of the tree over some leaves, given what the leaves hold."""
    return Frontier().append(digests).root
