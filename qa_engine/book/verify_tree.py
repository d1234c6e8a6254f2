"""The Merkle tree over the entries against every tree head: the book's own and those kept."""

from bisect import bisect_right
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import combinations, product

import polars as pl

from qa_engine.book.breach import Breach
from qa_engine.book.merkle import Frontier, leaf_hash
from qa_engine.book.stretch import Stretch
from qa_engine.errors import BookError

PAIRS_SOUGHT = 40
"""In so many entries at most it is sought which two changed places."""

SOUGHT_AT_MOST = 20
"""How often that is done while a book is verified."""


@dataclass(frozen=True)
class KeptHead:
    """A tree head that somebody keeps.

    Attributes:
        name: what to call it.
        size: how many entries it speaks of.
        root: the root of the tree over them.
    """

    name: str
    size: int
    root: bytes


@dataclass(frozen=True)
class _Point:
    """Where the tree is held against the head of a submission."""

    size: int
    submission: int
    root: bytes
    frontier: bytes


@dataclass
class Tree:
    """Grows with the entries, and is held against each head where it has that head's size.

    Where the book's own head does not fit, the tree goes on from what that head says as well, so
    that one change is not told again for everything after it. The heads kept are held against the
    tree over the entries as they stand.
    """

    kept: Sequence[KeptHead] = ()
    standing: Frontier = field(default_factory=Frontier)
    _kept_fit: int = 0
    _before: list[Frontier] = field(default_factory=lambda: [Frontier()])
    _likely: list[Frontier] = field(default_factory=lambda: [Frontier()])
    _since: list[bytes] = field(default_factory=list)
    _last: int = 0
    _sought: int = 0

    def breaches(self, stretch: Stretch) -> Iterator[Breach]:
        """Yield the heads that do not fit, up to the end of a stretch."""
        numbers, digests = (stretch.entries[name].to_list() for name in ("entry", "digest"))
        points = _points(stretch)
        sizes = set(points) | {head.size for head in self.kept}
        start = 0
        for size in sorted(size for size in sizes if stretch.low <= size <= stretch.high):
            end = bisect_right(numbers, size, lo=start)
            self._grow(digests[start:end])
            start = end
            yield from self._against_kept(size)
            yield from self._against_own(points.get(size, ()))
        self._grow(digests[start:])

    def _grow(self, digests: list[bytes]) -> None:
        if not digests:
            return
        self._since += digests
        grown = self.standing.append(digests)
        alike = self._likely == [self.standing]
        self._likely = [grown] if alike else [one.append(digests) for one in self._likely]
        self.standing = grown

    def _against_kept(self, size: int) -> Iterator[Breach]:
        for head in self.kept:
            if head.size != size:
                continue
            if self.standing.size < size:
                stand = self.standing.size
                yield Breach(_SHORT.format(head.name, size, stand), self._kept_fit + 1, size)
            elif (self.standing.size, self.standing.root) != (size, head.root):
                yield Breach(_REWRITTEN.format(head.name), self._kept_fit + 1, size)
            else:
                self._kept_fit = size

    def _against_own(self, points: Iterable[_Point]) -> Iterator[Breach]:
        for point in points:
            fitting = [c for c in self._likely if (c.size, c.root) == (point.size, point.root)]
            if not fitting:
                yield Breach(self._unfit(point), self._last + 1, point.size)
            elif point.frontier != fitting[0].to_bytes():
                yield Breach(_FRONTIER.format(point.submission), point.size)
            self._likely = fitting[:1] or [*_resumed(point), self._likely[0]]
            self._last, self._since, self._before = point.size, [], self._likely

    def _unfit(self, point: _Point) -> str:
        if (pair := self._exchanged(point)) is not None:
            return f"entries {pair[0]} and {pair[1]} changed places"
        return _UNFIT.format(point.submission)

    def _exchanged(self, point: _Point) -> tuple[int, int] | None:
        """Return the two entries since the last head that make it fit when exchanged."""
        hashes = [leaf_hash(digest) for digest in self._since]
        if len(hashes) != point.size - self._last or len(hashes) > PAIRS_SOUGHT:
            return None
        self._sought += 1
        starts = self._before if self._sought <= SOUGHT_AT_MOST else []
        for start, (one, other) in product(starts, combinations(range(len(hashes)), 2)):
            swapped = hashes.copy()
            swapped[one], swapped[other] = hashes[other], hashes[one]
            if start.append_hashes(swapped).root == point.root:
                return self._last + one + 1, self._last + other + 1
        return None


_UNFIT = (
    "they do not fit the tree head of submission {}: an entry was changed with its digest, "
    "removed, inserted or moved, or the tree head was changed"
)
_FRONTIER = "the frontier in the tree head of submission {} was changed"
_REWRITTEN = "{} does not fit: what it speaks of was rewritten after it was signed"
_SHORT = "{} speaks of {} entries, and {} stand here: some were removed after it was signed"


def _points(stretch: Stretch) -> dict[int, list[_Point]]:
    """Return the heads to be held against the tree, by the size at which that is to be done."""
    ends = stretch.submissions.select(
        "submission", size=pl.col("first_entry") + pl.col("entries") - 1
    )
    heads = stretch.heads.select("submission", "root", "frontier").join(ends, on="submission")
    found: dict[int, list[_Point]] = {}
    for row in heads.iter_rows(named=True):
        point = _Point(row["size"], row["submission"], row["root"] or b"", row["frontier"] or b"")
        found.setdefault(point.size, []).append(point)
    return found


def _resumed(point: _Point) -> list[Frontier]:
    """Return the frontier that a head holds, if it is one of that head."""
    try:
        frontier = Frontier.from_bytes(point.frontier)
    except BookError:
        return []
    sound = (frontier.size, frontier.root) == (point.size, point.root)
    return [frontier] if sound else []
