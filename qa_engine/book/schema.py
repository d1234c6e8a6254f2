"""The tables of a record book.

The log (``LOG``) only grows: triggers refuse to change or delete a row of it. Every entry is a leaf
of the Merkle tree. A record's entry has the record's id, and its values in the table of its kind;
every other entry has a body, canonical JSON, in ``bodies``. `qa_engine.book.canonical` says what an
entry's digest covers: all of that, and how the entry came in (``submissions``). The numbers of
entry and submission are not in it, so that digests can be reckoned before the book is locked.

The first entry of a book is of kind ``book``: its id is the book's, its body what the table
``book`` says.

What may be rewritten stands outside the log: names of people, refused rows and findings.

Instants are microseconds since 1970 in UTC, days are days since then, yes and no are 1 and 0.
"""

from collections.abc import Iterator
from typing import Any

import polars as pl
from sqlalchemy import (
    REAL,
    BigInteger,
    CheckConstraint,
    Column,
    Double,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    Text,
    select,
)
from sqlalchemy.types import TypeEngine

from qa_engine.records import KINDS

INT: TypeEngine[int] = BigInteger().with_variant(Integer(), "sqlite")
NUMBER: TypeEngine[float] = Double().with_variant(REAL(), "sqlite")
TEXT: TypeEngine[str] = Text()
BYTES: TypeEngine[bytes] = LargeBinary()

BODY_KINDS = (
    "book",
    "register",
    "rule_set",
    "permission",
    "permission_request",
    "proposal",
    "action",
    "attachment",
    "person",
    "signature",
    "audit",
)
"""The kinds of entry that are not records."""

METADATA = MetaData()


def _table(name: str, *parts: Column[Any] | CheckConstraint | Index) -> Table:
    return Table(name, METADATA, *parts, sqlite_strict=True)


def _number(
    name: str, *, nullable: bool = True, primary_key: bool = False, index: bool = False
) -> Column[Any]:
    return Column(
        name, INT, autoincrement=False, nullable=nullable, primary_key=primary_key, index=index
    )


migrations = _table(
    "migrations",
    _number("version", nullable=False, primary_key=True),
    Column("what", TEXT, nullable=False),
)
"""The versions of the schema that this book has had; the greatest one is its version."""

book = _table(
    "book",
    Column("key", TEXT, primary_key=True),
    Column("value", TEXT, nullable=False),
)
"""What a book says of itself: id, operator, time_zone, canonical_form."""

submissions = _table(
    "submissions",
    _number("submission", nullable=False, primary_key=True),
    Column("key", TEXT, nullable=False, unique=True),
    _number("first_entry", nullable=False),
    _number("entries", nullable=False),
    _number("entered_at", nullable=False, index=True),
    Column("entered_by", TEXT, nullable=False),
    Column("source", TEXT),
    Column("reason", TEXT),
)
"""What came in at once, and which entries that made: ``entries`` of them from ``first_entry`` on.

A submission that brings nothing new leaves no row.
"""

entries = _table(
    "entries",
    _number("entry", nullable=False, primary_key=True),
    Column("submission", INT, ForeignKey("submissions.submission"), nullable=False),
    Column("kind", TEXT, nullable=False),
    Column("id", TEXT, nullable=False, index=True),
    Column("supersedes", INT, ForeignKey("entries.entry")),
    Column("reason", TEXT),
    Column("digest", BYTES, nullable=False),
)
"""The log: entry numbers run from 1 without a gap; entry n is leaf n - 1 of the tree.

``digest`` is what the leaf holds. An entry that supersedes another is a correction of it.
"""
Index(
    "one_correction",
    entries.c.supersedes,
    unique=True,
    sqlite_where=entries.c.supersedes.is_not(None),
    postgresql_where=entries.c.supersedes.is_not(None),
)

bodies = _table(
    "bodies",
    Column("entry", INT, ForeignKey("entries.entry"), primary_key=True, autoincrement=False),
    Column("body", TEXT, nullable=False),
)

HAS_BODY = entries.c.entry.in_(select(bodies.c.entry))
"""Holds for entries with a body: few among many records, they are looked up one by one."""

tree_heads = _table(
    "tree_heads",
    Column(
        "submission",
        INT,
        ForeignKey("submissions.submission"),
        primary_key=True,
        autoincrement=False,
    ),
    _number("size", nullable=False),
    Column("root", BYTES, nullable=False),
    Column("frontier", BYTES, nullable=False),
)
"""The tree after each submission; ``frontier`` as `merkle.Frontier.to_bytes` writes it."""

attachments = _table(
    "attachments",
    Column("entry", INT, ForeignKey("entries.entry"), primary_key=True, autoincrement=False),
    Column("sha256", TEXT, nullable=False, index=True),
    Column("record", TEXT, index=True),
    Column("type", TEXT, nullable=False),
    _number("size", nullable=False),
)
"""Which files belong to which record; their bytes lie beside the book, or in ``attached``."""

attached = _table(
    "attached",
    Column("sha256", TEXT, primary_key=True),
    Column("bytes", BYTES, nullable=False),
)
"""The bytes of attachments, in databases that have no folder beside them."""

people = _table(
    "people",
    Column("entry", INT, ForeignKey("entries.entry"), primary_key=True, autoincrement=False),
    Column("person", TEXT, nullable=False, index=True),
    Column("salt", BYTES),
    Column("name", TEXT),
)
"""Names of people, outside the digests; erasing one empties salt and name of all its rows."""

refused = _table(
    "refused",
    _number("refusal", nullable=False, primary_key=True),
    Column("key", TEXT, nullable=False, index=True),
    Column("source", TEXT),
    _number("line"),
    Column("record", TEXT),
    Column("field", TEXT),
    Column("written", TEXT),
    Column("expected", TEXT),
    Column("cell", TEXT),
    Column("cells", TEXT),
)
"""Refused rows, a row per problem; ``key`` is that of the submission they came with, ``cells`` the
whole row as JSON."""

findings = _table(
    "findings",
    _number("number", nullable=False, primary_key=True),
    Column("finding", TEXT, nullable=False, index=True),
    Column("tank", TEXT, index=True),
    Column("van", TEXT),
    _number("seen_from", nullable=False),
    _number("seen_at", nullable=False),
    _number("seen_until"),
    _number("gone_at"),
    Column("body", TEXT, nullable=False),
)
"""Findings as they stood: ``seen_from`` is the size of the book when one was first told so and
``seen_at`` the instant of that look; ``seen_until`` and ``gone_at`` are those of the look that no
longer told it so (null: it still does); ``body`` the finding as it was told at first, as JSON."""


def _column_type(dtype: pl.DataType) -> TypeEngine[Any]:
    """Return the type that keeps a field; instants, days and yes/no are whole numbers."""
    kept: dict[pl.DataType, TypeEngine[Any]] = {pl.Float64(): NUMBER, pl.String(): TEXT}
    return kept.get(dtype, INT)


def _record_table(kind: str) -> Table:
    fields = KINDS[kind].fields
    columns = [
        Column(name, _column_type(field.dtype), nullable=not field.required)
        for name, field in fields.items()
        if name != "kind"
    ]
    entry = Column("entry", INT, ForeignKey("entries.entry"), primary_key=True, autoincrement=False)
    table = _table(kind, entry, *columns)
    for name in dict.fromkeys((KINDS[kind].item, *(n for n in LOOKED_UP if n in fields))):
        Index(f"{kind}_of_{name}", table.c[name], table.c["at"])
    return table


LOOKED_UP = ("van", "meter")
"""Columns by which records are looked up besides what they are about."""

RECORD_TABLES: dict[str, Table] = {kind: _record_table(kind) for kind in KINDS}
"""The table of each kind of record: entry, and the record's fields but ``kind``."""


def _log() -> Iterator[Table]:
    yield from (migrations, book, submissions, entries, bodies, tree_heads)
    yield from (attachments, attached, *RECORD_TABLES.values())


LOG: tuple[Table, ...] = tuple(_log())
"""The tables that only grow."""
