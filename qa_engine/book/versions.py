"""The versions that a record has had in a book, and the next one: a correction of what was seen."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

import polars as pl
from sqlalchemy import Connection, select

from qa_engine.book.canonical import Submission
from qa_engine.book.preparing import batch_of, checked
from qa_engine.book.reading import TYPES
from qa_engine.book.replacing import OvertakenError
from qa_engine.book.rows import fetch
from qa_engine.book.schema import RECORD_TABLES, entries, submissions
from qa_engine.book.store import Book
from qa_engine.book.submission import Receipt
from qa_engine.book.writing import known_receipt, take_records
from qa_engine.records import KINDS

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True)
class Version:
    """A version of a record.

    Attributes:
        kind: the kind of record.
        entry: the number of its entry.
        at: when it came in.
        by: the id of the person who entered it.
        reason: why, of a correction.
        values: the record's fields, as typed in ``qa_engine.records``; null where unfilled.
    """

    kind: str
    entry: int
    at: datetime
    by: str
    reason: str | None
    values: Mapping[str, Any]


def versions_of(book: Book, record: str) -> tuple[Version, ...]:
    """Return every version of a record that a book has had, the first one first; none of none."""
    with book.reading() as held:
        rows = _entries_of(held, record)
        values = _values_of(held, rows)
    return tuple(
        Version(row[0], row[1], _instant(row[2]), row[3], row[4], values[row[1]]) for row in rows
    )


def _entries_of(connection: Connection, record: str) -> Sequence[Any]:
    query = (
        select(
            entries.c.kind,
            entries.c.entry,
            submissions.c.entered_at,
            submissions.c.entered_by,
            entries.c.reason,
        )
        .join(submissions, submissions.c.submission == entries.c.submission)
        .where(entries.c.id == record, entries.c.kind.in_(KINDS))
        .order_by(entries.c.entry)
    )
    return connection.execute(query).all()


def _values_of(connection: Connection, rows: Sequence[Any]) -> dict[int, dict[str, Any]]:
    if not rows:
        return {}
    table = RECORD_TABLES[rows[0][0]]
    names = table.columns.keys()
    query = select(*table.columns).where(table.c.entry.in_([row[1] for row in rows]))
    found = fetch(connection, query, {name: TYPES[name] for name in names})
    return {row.pop("entry"): row for row in found.to_dicts()}


def _instant(microseconds: int) -> datetime:
    return _EPOCH + timedelta(microseconds=microseconds)


def correct_seen(
    book: Book, frames: Mapping[str, pl.DataFrame], seen: int, submission: Submission
) -> Receipt:
    """Take in the correction of one record, if the version that was seen still stands.

    Args:
        book: the record book.
        frames: the record as it should be, as the intake gives it.
        seen: the entry of the version that was seen.
        submission: how it comes in, with the reason.

    Raises:
        OvertakenError: somebody else corrected the record meanwhile.
        BookError: the book lacks the record.
    """
    batches = [batch_of(kind, frame, submission) for kind, frame in checked(frames).items()]
    record = batches[0].frame["record"][0]
    with book.writing() as held:
        if (known := known_receipt(held, submission.key)) is not None:
            return known
        last = _entries_of(held, record)[-1:]
        if last and last[0][1] != seen:
            raise OvertakenError(_meanwhile(record, last[0]))
        return take_records(held, batches, submission, differing="correct", known_only=True)


def _meanwhile(record: str, last: Sequence[Any]) -> str:
    why = f" ({last[4]})" if last[4] else ""
    return (
        f"Meanwhile {last[3]} corrected {record}{why}, at {_instant(last[2]):%Y-%m-%d %H:%M} UTC. "
        "Nothing of yours was written; look at it as it stands now."
    )
