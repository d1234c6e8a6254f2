"""What was found is remembered in the book, with when it came and when it went.

The table is derived: it stands outside the digests, and a look at the whole book finds again what
stands. What a finding says of a measured age is that of the look which told it first.
"""

import json
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

import polars as pl
from sqlalchemy import Connection, func, select, update

from qa_engine.book.canonical_json import microseconds
from qa_engine.book.schema import findings
from qa_engine.book.store import Book
from qa_engine.findings import SCHEMA

TOLD = ("finding", "edition", "grading", "outcome", "permission", "stands", "closed_at")
"""What makes a finding another than it was; that a thing grew older does not."""

AT_ONCE = 400
"""How many findings one query names."""

BEGAN = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True)
class Stood:
    """How a finding stood for a time.

    Attributes:
        finding: its identity.
        seen_at: the look that first told it so, and the size of the book then: ``seen_from``.
        gone_at: the look that no longer did, with ``seen_until``; None while it still stands so.
        body: the finding as it was told at first, the columns of ``qa_engine.findings.SCHEMA``.
    """

    finding: str
    seen_at: datetime
    seen_from: int
    gone_at: datetime | None
    seen_until: int | None
    body: dict[str, Any]


def remember(
    book: Book, before: pl.DataFrame | None, now: pl.DataFrame, size: int, at: datetime
) -> None:
    """Write down which findings came and which went since the last look.

    Args:
        book: the record book.
        before: what was told then of the items that may differ; None if this process has not looked
            before.
        now: what is told of these items now, or of all, as ``qa_engine.findings.SCHEMA``.
        size: how many entries of the book that rests on.
        at: the instant of this look.

    Raises:
        BookError: the book cannot be written.
    """
    if before is not None and _differing(now, before).is_empty() and not _gone(before, now):
        return
    with book.writing() as held:
        if _overtaken(held, size):
            return
        stood = before if before is not None else _standing(held)
        came, went = _differing(now, stood), _gone(stood, now)
        went |= set(came["finding"])
        _end(held, sorted(went), size, at)
        _write(held, came, size, at)


def history_of(book: Book, finding: str) -> list[Stood]:
    """Return how a finding stood from time to time, the earliest first."""
    asked = select(findings).where(findings.c.finding == finding).order_by(findings.c.number)
    with book.reading() as held:
        return [_stood(row) for row in held.execute(asked).mappings()]


def _differing(now: pl.DataFrame, before: pl.DataFrame) -> pl.DataFrame:
    return now.join(before, on=TOLD, how="anti", nulls_equal=True)


def _gone(before: pl.DataFrame, now: pl.DataFrame) -> set[str]:
    return set(before["finding"]) - set(now["finding"])


def _overtaken(held: Connection, size: int) -> bool:
    """Tell whether another process has written down what rests on more of the book."""
    last = select(findings.c.seen_from).order_by(findings.c.number.desc()).limit(1)
    return (held.execute(last).scalar() or 0) > size


def _standing(held: Connection) -> pl.DataFrame:
    asked = select(findings.c.body).where(findings.c.seen_until.is_(None))
    told = [json.loads(body) for body in held.execute(asked).scalars()]
    rows = [{name: one.get(name) for name in TOLD} for one in told]
    for row in rows:
        closed = row["closed_at"]
        row["closed_at"] = datetime.fromisoformat(closed) if closed else None
    return pl.DataFrame(rows, schema={name: SCHEMA[name] for name in TOLD})


def _end(held: Connection, went: list[str], size: int, at: datetime) -> None:
    ended = update(findings).values(seen_until=size, gone_at=microseconds(at))
    for start in range(0, len(went), AT_ONCE):
        some = findings.c.finding.in_(went[start : start + AT_ONCE])
        held.execute(ended.where(some, findings.c.seen_until.is_(None)))


def _write(held: Connection, came: pl.DataFrame, size: int, at: datetime) -> None:
    number = held.execute(select(func.coalesce(func.max(findings.c.number), 0))).scalar() or 0
    rows = [
        {
            "number": number + place,
            "finding": row["finding"],
            "tank": row["tank"],
            "van": row["van"],
            "seen_from": size,
            "seen_at": microseconds(at),
            "body": json.dumps(row, default=_written, sort_keys=True),
        }
        for place, row in enumerate(came.iter_rows(named=True), 1)
    ]
    if rows:
        held.execute(findings.insert(), rows)


def _written(value: Any) -> str:
    return value.astimezone(UTC).isoformat() if isinstance(value, datetime) else str(value)


def _stood(row: Any) -> Stood:
    gone = row["gone_at"]
    return Stood(
        row["finding"],
        _instant(row["seen_at"]),
        row["seen_from"],
        None if gone is None else _instant(gone),
        row["seen_until"],
        json.loads(row["body"]),
    )


def _instant(micros: int) -> datetime:
    return BEGAN + timedelta(microseconds=micros)
