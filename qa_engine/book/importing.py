"""A whole file of records taken in: part after part, so that an import can be broken off.

Each part is a submission of its own, with a key made of the file's and the part's number. Whoever
hands in the same file again, after a break or twice, gets the first receipts for the parts that
are kept and goes on with the rest.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass

import polars as pl

from qa_engine.book.canonical import Submission
from qa_engine.book.store import Book
from qa_engine.book.submission import Conflict, Receipt
from qa_engine.book.writing import Differing
from qa_engine.records import KINDS

ROWS_PER_PART = 50_000
"""How many records a part holds: others who write wait no longer than it takes to write them."""

Told = Callable[[Receipt, int], None]


@dataclass(frozen=True)
class Import:
    """What became of a file.

    Attributes:
        receipts: those of its parts, in order.
        rows: how many records it has.
    """

    receipts: tuple[Receipt, ...]
    rows: int

    @property
    def added(self) -> int:
        """Return how many entries were made now."""
        return sum(receipt.entries for receipt in self.receipts if not receipt.known)

    @property
    def known(self) -> bool:
        """Return whether the book had all of it before."""
        nothing = all(receipt.known or not receipt.entries for receipt in self.receipts)
        return nothing and bool(self.rows) and not self.conflicts

    @property
    def repeated(self) -> int:
        """Return how many records the book had already, word for word."""
        return sum(receipt.repeated for receipt in self.receipts)

    @property
    def conflicts(self) -> tuple[Conflict, ...]:
        """Return the records that were not taken."""
        return tuple(one for receipt in self.receipts for one in receipt.conflicts)


@dataclass(frozen=True)
class Part:
    """Some records of a file, and the key that stands for them."""

    key: str
    frames: Mapping[str, pl.DataFrame]


def add_parts(
    book: Book,
    parts: Iterable[Part],
    submission: Submission,
    *,
    differing: Differing = "refuse",
    told: Told = lambda receipt, rows: None,
) -> Import:
    """Take in records part by part; each is asked for when the one before is kept.

    Args:
        book: the record book.
        parts: the parts of a file; the same file always has the same.
        submission: how they come in; each part has its own key.
        differing: what becomes of records that the book has otherwise.
        told: is told of each part, once it is kept, and of how many records it has.
    """
    receipts, rows = [], 0
    for part in parts:
        count = sum(frame.height for frame in part.frames.values())
        receipts.append(_add(book, part, submission, differing))
        rows += count
        told(receipts[-1], count)
    return Import(tuple(receipts), rows)


def add_file(
    book: Book,
    frames: Mapping[str, pl.DataFrame],
    submission: Submission,
    *,
    differing: Differing = "refuse",
    told: Told = lambda receipt, rows: None,
    rows_per_part: int = ROWS_PER_PART,
) -> Import:
    """Take in the records of a file that has been read whole.

    Args:
        book: the record book.
        frames: what the intake made of the file.
        submission: how it comes in; its key stands for what the file holds.
        differing: what becomes of records that the book has otherwise.
        told: is told of each part, once it is kept, and of how many records it has.
        rows_per_part: how many records a part holds.
    """
    cut = enumerate(parts_of(frames, rows_per_part), 1)
    parts = (Part(f"{submission.key}/{number}", part) for number, part in cut)
    return add_parts(book, parts, submission, differing=differing, told=told)


def _add(book: Book, part: Part, submission: Submission, differing: Differing) -> Receipt:
    if (known := book.receipt(part.key)) is not None:
        return known
    return book.add(
        part.frames,
        key=part.key,
        entered_at=submission.entered_at,
        entered_by=submission.entered_by,
        source=submission.source,
        reason=submission.reason,
        differing=differing,
    )


def parts_of(
    frames: Mapping[str, pl.DataFrame], rows_per_part: int = ROWS_PER_PART
) -> Iterator[dict[str, pl.DataFrame]]:
    """Yield records in parts of so many rows, the last one smaller, in the order of kinds."""
    part: dict[str, pl.DataFrame] = {}
    room = rows_per_part
    for kind in (kind for kind in KINDS if kind in frames):
        left = frames[kind]
        while left.height:
            part[kind], left = left[:room], left[room:]
            room -= part[kind].height
            if not room:
                yield part
                part, room = {}, rows_per_part
    if part:
        yield part
