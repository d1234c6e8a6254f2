"""A small, invented record book with entries of every sort, for the tests of tampering."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from random import Random
from typing import Any

import polars as pl
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from qa_engine.book import Book, create_book
from qa_engine.book.attachments import attach
from qa_engine.book.heads import note_head, signed_head
from qa_engine.book.people import erase_person, name_person
from qa_engine.book.signing import SignedHead
from qa_engine.records import KINDS

BEGAN = datetime(2026, 3, 1, 8, tzinfo=UTC)
KEY = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))
ID = "5eed" * 8
ROUNDS = 8
SCHEMAS = {
    kind: {n: f.dtype for n, f in KINDS[kind].fields.items() if n != "kind"} for kind in KINDS
}


def make(url: str | Path, seed: int = 1, rounds: int = ROUNDS, forged: int | None = None) -> Book:
    """Make the book; the same seed gives the same one.

    Args:
        url: where.
        seed: of its records.
        rounds: of submissions.
        forged: the round in which one record says something else.
    """
    book = create_book(
        url,
        operator="Invented Rinse",
        time_zone="Etc/UTC",
        entered_at=BEGAN,
        entered_by="p-1",
        book_id=ID,
    )
    random = Random(seed)
    for number in range(rounds):
        _round(book, number, random, forged=number == forged)
    return book


def _round(book: Book, number: int, random: Random, *, forged: bool) -> None:
    when: dict[str, Any] = {
        "entered_at": BEGAN + timedelta(hours=number),
        "entered_by": "p-3",
    }
    kinds = ["reading", *random.sample([kind for kind in KINDS if kind != "reading"], 3)]
    frames = {k: _records(k, random.randrange(1, 5), random, f"{k}-{number}") for k in kinds}
    if forged:
        frames["reading"] = frames["reading"].with_columns(outlet_tds=pl.lit(1.0))
    book.add(frames, key=f"add {number}", source=f"day {number}.csv", **when)
    some = {k: frame.head(1).with_columns(note=pl.lit("again")) for k, frame in frames.items()}
    book.correct(some, key=f"correct {number}", reason="misread", **when)
    rules = {"title": "House rules", "number": number, "limit": random.random()}
    book.put("rule_set", "house", rules, key=f"rules {number}", **when)
    if number == 2:
        name_person(book, "p-3", "Somebody Invented", key="person 3", salt=b"3" * 32, **when)
        name_person(book, "p-4", "Another Invented", key="person 4", salt=b"4" * 32, **when)
        erase_person(book, "p-4")
        photo = {"type": "image/png", "record": frames["reading"]["record"][0]}
        attach(book, b"bytes of a photo", key="photo", **photo, **when)
        note_head(book, head_of(book, number), **when)


def head_of(book: Book, number: int) -> SignedHead:
    """Return the head that an auditor keeps after some rounds."""
    return signed_head(book, KEY, BEGAN + timedelta(hours=number))


def _records(kind: str, count: int, random: Random, label: str) -> pl.DataFrame:
    rows = [_record(kind, f"{label}-{number}", random) for number in range(count)]
    return pl.DataFrame(rows, schema=SCHEMAS[kind])


def _record(kind: str, name: str, random: Random) -> dict[str, Any]:
    """Return an invented record with most columns filled."""
    invented: dict[pl.DataType, Callable[[], Any]] = {
        pl.Float64(): lambda: round(random.uniform(0, 50), 2),
        pl.Boolean(): lambda: random.random() < 0.5,
        pl.Date(): lambda: BEGAN.date() + timedelta(days=random.randrange(400)),
        pl.Datetime("us", "UTC"): lambda: BEGAN + timedelta(seconds=random.randrange(10**6)),
        pl.String(): lambda: random.choice(("T-07", "van 2", 'a "b"\nü', "flowing")),
    }
    fields = KINDS[kind].fields
    row = {
        column: invented[dtype]() if fields[column].required or random.random() < 0.8 else None
        for column, dtype in SCHEMAS[kind].items()
    }
    return row | {"record": name}
