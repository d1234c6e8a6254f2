"""How a submission gets into a book: all of it in one transaction, or nothing."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import polars as pl
from sqlalchemy import Connection, select

from qa_engine.book import schema
from qa_engine.book.canonical import Submission
from qa_engine.book.canonical_json import microseconds
from qa_engine.book.comparing import ENTRY, FIELDS, Compared, compared
from qa_engine.book.merkle import Frontier
from qa_engine.book.preparing import Batch, batch_of
from qa_engine.book.rows import insert
from qa_engine.book.submission import Receipt
from qa_engine.errors import BookError

Differing = Literal["refuse", "correct"]
"""What becomes of records that the book has otherwise."""

NAMED = 3


@dataclass(frozen=True)
class Bodies:
    """Entries that are no records, ready to be written; all of one kind.

    Attributes:
        ids: what each is called.
        bodies: the canonical JSON of each.
        digests: their digests.
        supersedes: the entries that they take the place of, None where there is none.
    """

    kind: str
    ids: Sequence[str]
    bodies: Sequence[str]
    digests: list[bytes]
    supersedes: Sequence[int | None]
    reason: str | None = None


@dataclass(frozen=True)
class Head:
    """The end of a book: its last submission, and the tree up to there."""

    submission: int
    frontier: Frontier


def head_of(connection: Connection) -> Head:
    """Return the end of the book."""
    heads = schema.tree_heads
    query = select(heads.c.submission, heads.c.frontier).order_by(heads.c.submission.desc())
    row = connection.execute(query.limit(1)).first()
    return Head(row[0], Frontier.from_bytes(row[1])) if row else Head(0, Frontier())


def known_receipt(connection: Connection, key: str) -> Receipt | None:
    """Return the receipt that a key got when it first came in; None if it never did."""
    told, heads = schema.submissions, schema.tree_heads
    query = (
        select(told.c.submission, told.c.first_entry, told.c.entries, heads.c.root)
        .join(heads, heads.c.submission == told.c.submission)
        .where(told.c.key == key)
    )
    row = connection.execute(query).first()
    return Receipt(row[0], row[1], row[2], bytes(row[3]), known=True) if row else None


def take_records(
    connection: Connection,
    batches: Sequence[Batch],
    submission: Submission,
    *,
    differing: Differing = "refuse",
    known_only: bool = False,
) -> Receipt:
    """Take records in, in a write transaction.

    Args:
        connection: a write transaction.
        batches: the records as new ones, with their digests.
        submission: how they come in.
        differing: what becomes of those that the book has otherwise.
        known_only: whether each must be in the book already.

    Raises:
        BookError: ``known_only``, and the book lacks one.
    """
    if (known := known_receipt(connection, submission.key)) is not None:
        return known
    found = compared(connection, {batch.kind: batch.frame for batch in batches})
    if known_only and found.new:
        raise BookError(_lacking(found))
    taken: list[Batch | Bodies] = [
        one for batch in batches if (one := _of_new(batch, found)) is not None
    ]
    if differing == "correct":
        taken += _corrections(found, submission)
    receipt = append(connection, taken, submission)
    conflicts = found.conflicts() if differing == "refuse" else ()
    return Receipt(
        receipt.submission,
        receipt.first_entry,
        receipt.entries,
        receipt.root,
        repeated=found.repeated,
        conflicts=conflicts,
    )


def _lacking(found: Compared) -> str:
    ids = [record for frame in found.new.values() for record in frame["record"].to_list()]
    more = f" and {len(ids) - NAMED} more" if len(ids) > NAMED else ""
    named = ", ".join(ids[:NAMED])
    return f"not in the book, so there is nothing to correct: {named}{more}; nothing was added"


def _of_new(batch: Batch, found: Compared) -> Batch | None:
    """Return those of a batch that are new; their digests are known already."""
    new = found.new.get(batch.kind)
    if new is None or new.height == batch.frame.height:
        return None if new is None else batch
    taken = batch.frame["record"].is_in(new["record"].implode()).to_list()
    digests = [digest for digest, is_new in zip(batch.digests, taken, strict=True) if is_new]
    return Batch(batch.kind, new, digests)


def _corrections(found: Compared, submission: Submission) -> Iterable[Batch]:
    for kind, frame in found.differing.items():
        yield batch_of(kind, frame.drop(ENTRY, FIELDS), submission, frame[ENTRY])


def append(
    connection: Connection, batches: Sequence[Batch | Bodies], submission: Submission
) -> Receipt:
    """Append entries at the end of the book and return the receipt.

    Where there is nothing to append, nothing is written and the receipt tells of the book's end.
    """
    head = head_of(connection)
    first = head.frontier.size + 1
    digests = [digest for batch in batches for digest in batch.digests]
    if not digests:
        return Receipt(head.submission, first, 0, head.frontier.root)
    number = head.submission + 1
    _write_submission(connection, submission, number, first, len(digests))
    entry = first
    for batch in batches:
        _write_batch(connection, batch, number, entry)
        entry += len(batch.digests)
    frontier = head.frontier.append(digests)
    root = frontier.root
    connection.execute(
        schema.tree_heads.insert().values(
            submission=number, size=frontier.size, root=root, frontier=frontier.to_bytes()
        )
    )
    return Receipt(number, first, len(digests), root)


def _write_submission(
    connection: Connection, submission: Submission, number: int, first: int, count: int
) -> None:
    row = {
        "submission": number,
        "key": submission.key,
        "first_entry": first,
        "entries": count,
        "entered_at": microseconds(submission.entered_at),
        "entered_by": submission.entered_by,
        "source": submission.source,
        "reason": submission.reason,
    }
    connection.execute(schema.submissions.insert().values(row))


def _write_batch(connection: Connection, batch: Batch | Bodies, number: int, first: int) -> None:
    count = len(batch.digests)
    numbers = pl.int_range(first, first + count, eager=True)
    log = {
        "entry": numbers,
        "submission": pl.repeat(number, count, eager=True),
        "kind": pl.repeat(batch.kind, count, eager=True),
        "id": batch.frame["record"] if isinstance(batch, Batch) else batch.ids,
        "supersedes": batch.supersedes,
        "reason": None if batch.reason is None else [batch.reason] * count,
        "digest": batch.digests,
    }
    insert(connection, schema.entries, log)
    if isinstance(batch, Batch):
        columns: Mapping[str, pl.Series] = {"entry": numbers, **batch.frame.to_dict()}
        insert(connection, schema.RECORD_TABLES[batch.kind], columns)
    else:
        insert(connection, schema.bodies, {"entry": numbers, "body": batch.bodies})
