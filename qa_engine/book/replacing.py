"""Taking the place of exactly what was seen: nothing that came in meanwhile is written over."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from sqlalchemy import Connection, Select, select

from qa_engine.book.canonical import Submission
from qa_engine.book.known import known_at
from qa_engine.book.schema import HAS_BODY, bodies, entries, submissions
from qa_engine.book.store import Book
from qa_engine.book.submission import Receipt
from qa_engine.book.writing import append, known_receipt
from qa_engine.book.written_bodies import bodies_to_put
from qa_engine.errors import BookError

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


class OvertakenError(BookError):
    """What somebody looked at was changed meanwhile; nothing was written."""


@dataclass(frozen=True)
class Standing:
    """An entry that is no record, as it stands or stood.

    Attributes:
        id: what it is called.
        entry: its number; whoever changes it says that this is the one they saw.
        body: what it says.
        at: when it came in.
        by: the id of the person who entered it.
    """

    id: str
    entry: int
    body: Mapping[str, Any]
    at: datetime
    by: str


def standing_in(book: Book, kind: str, at: datetime | None = None) -> tuple[Standing, ...]:
    """Return what stands of a kind of entry, in the order of their first entries.

    Args:
        book: the record book.
        kind: the kind of entry.
        at: what the book knew at this instant; by default, all that it knows.
    """
    with book.reading() as held:
        known = known_at(held, at)
        query = _told(kind).where(*known.extent.holds(entries.c.entry))
        found: dict[str, Standing] = {}
        for row in held.execute(query.order_by(entries.c.entry), known.values):
            found[row[0]] = _standing(row)
    return tuple(found.values())


def latest(connection: Connection, kind: str, id_: str) -> Standing | None:
    """Return the entry of a kind and id that stands."""
    query = _told(kind).where(entries.c.id == id_).order_by(entries.c.entry.desc())
    row = connection.execute(query.limit(1)).first()
    return _standing(row) if row else None


def _told(kind: str) -> Select[Any]:
    return (
        select(
            entries.c.id,
            entries.c.entry,
            bodies.c.body,
            submissions.c.entered_at,
            submissions.c.entered_by,
        )
        .join(bodies, bodies.c.entry == entries.c.entry)
        .join(submissions, submissions.c.submission == entries.c.submission)
        .where(HAS_BODY, entries.c.kind == kind)
    )


def _standing(row: Sequence[Any]) -> Standing:
    at = _EPOCH + timedelta(microseconds=row[3])
    return Standing(row[0], row[1], json.loads(row[2]), at, row[4])


def put_together(
    connection: Connection, kinds: Mapping[str, Mapping[str, Any]], submission: Submission
) -> Receipt:
    """Append entries of several kinds as one submission, in a write transaction.

    Args:
        connection: a write transaction.
        kinds: by kind, the bodies by id.
        submission: how they come in.
    """
    ready = [
        one
        for kind, some in kinds.items()
        for one in bodies_to_put(connection, kind, some, submission)
    ]
    return append(connection, ready, submission)


def id_made_by(connection: Connection, key: str, kind: str) -> str | None:
    """Return the id of the entry of a kind that a submission made; None if the key is new."""
    if (known := known_receipt(connection, key)) is None:
        return None
    last = known.first_entry + known.entries
    query = select(entries.c.id).where(
        entries.c.entry >= known.first_entry, entries.c.entry < last, entries.c.kind == kind
    )
    return connection.execute(query).scalar()


def free_id(connection: Connection, prefix: str, kinds: Sequence[str]) -> str:
    """Return the first id ``prefix-N`` after those taken that no entry of some kinds has."""
    query = select(entries.c.id).where(HAS_BODY, entries.c.kind.in_(kinds)).distinct()
    taken = set(connection.execute(query).scalars())
    number = len(taken) + 1
    while f"{prefix}-{number}" in taken:
        number += 1
    return f"{prefix}-{number}"
