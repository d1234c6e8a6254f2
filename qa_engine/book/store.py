"""The record book as the rest of the program sees it."""

import json
from collections.abc import Iterable, Iterator, Mapping
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import polars as pl
from sqlalchemy import Connection, Engine, select

from qa_engine.book import connection, reading, schema
from qa_engine.book.canonical import Submission
from qa_engine.book.comparing import Compared, compared
from qa_engine.book.faults import in_plain_words
from qa_engine.book.preparing import batch_of, checked
from qa_engine.book.reading import Items
from qa_engine.book.register_body import body_of, register_of
from qa_engine.book.submission import Receipt
from qa_engine.book.writing import Differing, append, head_of, known_receipt, take_records
from qa_engine.book.written_bodies import bodies_to_put
from qa_engine.records import KINDS
from qa_engine.register import Register

Frames = Mapping[str, pl.DataFrame]

OWN_KINDS = ("book", "person", "attachment")
"""Kinds of entry that have a method of their own."""


@dataclass(frozen=True)
class Arrived:
    """What came into a book after some entry.

    Attributes:
        size: how many entries the book has with it.
        kinds: the kinds of the entries, records or not.
        records: by kind, with ``entered_at``; of a record that was corrected since, the version
            that stands.
    """

    size: int
    kinds: frozenset[str]
    records: Frames


@dataclass(frozen=True)
class Book:
    """An open record book; it may be used from several threads.

    Attributes:
        engine: the database.
        url: its address as messages may show it.
        folder: where the bytes of attachments lie; None if they lie in the database.
    """

    engine: Engine
    url: str
    folder: Path | None = None
    tries: int = connection.TRIES

    def reading(self) -> AbstractContextManager[Connection]:
        """Give a connection that sees the book as it is now; it waits for nobody."""
        return self._told(connection.reading(self.engine))

    def writing(self) -> AbstractContextManager[Connection]:
        """Give a connection that has the book to itself; commits at the end."""
        return self._told(connection.writing(self.engine, tries=self.tries))

    @contextmanager
    def _told(self, transaction: AbstractContextManager[Connection]) -> Iterator[Connection]:
        with in_plain_words(self.engine, self.url), transaction as held:
            yield held

    def close(self) -> None:
        """Close every connection."""
        self.engine.dispose()

    def __enter__(self) -> "Book":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def add(
        self,
        frames: Frames,
        *,
        key: str,
        entered_at: datetime,
        entered_by: str,
        source: str | None = None,
        reason: str | None = None,
        differing: Differing = "refuse",
    ) -> Receipt:
        """Take records in; those that the book has word for word add nothing.

        Args:
            frames: records by kind, as the intake gives them.
            key: the client's own unique key; if the book has it, its receipt is given again.
            entered_at: when they come in.
            entered_by: the id of the person who enters them.
            source: the file or channel they come from.
            reason: why, where that needs saying.
            differing: what becomes of records that the book has otherwise: they are refused, and
                the receipt tells them, or they come in as corrections.

        Raises:
            BookError: the frames are not as the intake gives them, or the book cannot be written.
        """
        submission = Submission(key, entered_at, entered_by, source, reason)
        batches = [batch_of(kind, frame, submission) for kind, frame in checked(frames).items()]
        with self.writing() as held:
            return take_records(held, batches, submission, differing=differing)

    def correct(
        self,
        frames: Frames,
        *,
        key: str,
        entered_at: datetime,
        entered_by: str,
        reason: str,
        source: str | None = None,
    ) -> Receipt:
        """Take records in as corrections: each takes the place of the one with its id.

        Raises:
            BookError: the book lacks one of them, or as for ``add``.
        """
        submission = Submission(key, entered_at, entered_by, source, reason)
        batches = [batch_of(kind, frame, submission) for kind, frame in checked(frames).items()]
        with self.writing() as held:
            return take_records(held, batches, submission, differing="correct", known_only=True)

    def compare(self, frames: Frames) -> Compared:
        """Tell which records are new, which the book has, and which it has otherwise."""
        with self.reading() as held:
            return compared(held, checked(frames))

    def put(
        self,
        kind: str,
        id: str,
        body: Mapping[str, Any],
        *,
        key: str,
        entered_at: datetime,
        entered_by: str,
        source: str | None = None,
        reason: str | None = None,
    ) -> Receipt:
        """Take in an entry that is no record; it takes the place of the one with its kind and id.

        The same body as the one that stands adds nothing.

        Args:
            kind: one of ``schema.BODY_KINDS`` that has no method of its own.
            id: what it is called.
            body: what JSON can say.
            key: the client's own unique key, as for ``add``.
            entered_at: when it comes in.
            entered_by: the id of the person who enters it.
            source: the file or channel it comes from.
            reason: why, where that needs saying.
        """
        submission = Submission(key, entered_at, entered_by, source, reason)
        return self.put_all(kind, {id: body}, submission)

    def put_all(
        self, kind: str, bodies: Mapping[str, Mapping[str, Any]], submission: Submission
    ) -> Receipt:
        """Take in entries of one kind that are no records, by id, as ``put`` does: all or none."""
        with self.writing() as held:
            return self._put(held, kind, bodies, submission)

    def put_register(
        self,
        register: Register,
        *,
        key: str,
        entered_at: datetime,
        entered_by: str,
        source: str | None = None,
        reason: str | None = None,
    ) -> Receipt:
        """Take in a register; it takes the place of the one that the book has."""
        submission = Submission(key, entered_at, entered_by, source, reason)
        with self.writing() as held:
            return self._put(held, "register", {"register": body_of(register)}, submission)

    def _put(
        self,
        held: Connection,
        kind: str,
        bodies: Mapping[str, Mapping[str, Any]],
        submission: Submission,
    ) -> Receipt:
        known = known_receipt(held, submission.key)
        return known or append(held, bodies_to_put(held, kind, bodies, submission), submission)

    def bodies(self, kind: str, known_at: datetime | None = None) -> dict[str, Any]:
        """Return what stands of a kind of entry that is no record, by id."""
        with self.reading() as held:
            found = reading.latest_bodies(held, kind, known_at)
        return {id_: json.loads(body) for id_, body in found.items()}

    def register(self, known_at: datetime | None = None) -> Register:
        """Return the register; without one, that of an operator who has named nothing yet."""
        found = self.bodies("register", known_at)
        if found:
            return register_of(next(iter(found.values())))
        about = self.about()
        return Register(about["operator"], ZoneInfo(about["time_zone"]), {})

    def frames(
        self,
        *,
        known_at: datetime | None = None,
        items: Items | None = None,
        kinds: Iterable[str] | None = None,
        entered: bool = False,
    ) -> dict[str, pl.DataFrame]:
        """Return records by kind, typed and sorted as the intake gives them.

        Args:
            known_at: what the book knew at this instant; by default, all that it knows.
            items: what they are about: ids of tanks, meters, bases, vans, sources, items; or ids
                by column, of which any may match: ``{"tank": [...], "van": [...]}``.
            kinds: the kinds wanted; by default, all.
            entered: whether to add ``entered_at``, when the book first took each record.
        """
        with self.reading() as held:
            return reading.records(held, at=known_at, items=items, kinds=kinds, entered=entered)

    def arrived(self, after: int) -> Arrived:
        """Return what came in after an entry."""
        with self.reading() as held:
            kinds = reading.kinds_after(held, after)
            wanted = [kind for kind in KINDS if kind in kinds]
            records = reading.records(held, kinds=wanted, entered=True, after=after)
            return Arrived(head_of(held).frontier.size, kinds, records)

    def about(self) -> dict[str, str]:
        """Return what the book says of itself: id, operator, time_zone, canonical_form."""
        with self.reading() as held:
            rows = held.execute(select(schema.book.c.key, schema.book.c.value))
            return {row[0]: row[1] for row in rows}

    def size(self) -> int:
        """Return how many entries the book has."""
        with self.reading() as held:
            return head_of(held).frontier.size

    def root(self) -> bytes:
        """Return the root of the tree over all entries."""
        with self.reading() as held:
            return head_of(held).frontier.root

    def receipt(self, key: str) -> Receipt | None:
        """Return the receipt that a key got; None if the book does not have it."""
        with self.reading() as held:
            return known_receipt(held, key)
