"""The tables of messages, beside the record book's log: they may change and be erased."""

from sqlalchemy import Column, MetaData, Table, Text

from qa_engine.book.schema import INT

metadata = MetaData()

MESSAGES = Table(
    "messages",
    metadata,
    Column("key", Text, primary_key=True),
    Column("identity", Text, nullable=False),
    Column("kind", Text, nullable=False),
    Column("channel", Text, nullable=False),
    Column("address", Text, nullable=False),
    Column("subject", Text, nullable=False),
    Column("text", Text, nullable=False),
    Column("queued_at", INT, nullable=False),
    Column("attempts", INT, nullable=False, default=0),
    Column("next_at", INT, nullable=False),
    Column("holder", Text),
    Column("held_until", INT),
    Column("sent_at", INT),
    Column("given_up_at", INT),
    Column("reason", Text),
    sqlite_strict=True,
)
"""A row per message and channel; instants in microseconds since 1970."""

TOLD = Table(
    "messages_told",
    metadata,
    Column("finding", Text, primary_key=True),
    sqlite_strict=True,
)
"""The findings that stand and that crews were told to stop for, or that stood at the start."""

LOOKS = Table(
    "messages_looks",
    metadata,
    Column("entries", INT, primary_key=True),
    Column("at", INT, nullable=False),
    sqlite_strict=True,
)
"""The look, one row, that ``TOLD`` was last written by: its entries of the book, its instant."""

MARKS = Table(
    "messages_marks",
    metadata,
    Column("name", Text, primary_key=True),
    Column("at", INT, nullable=False),
    sqlite_strict=True,
)
"""When something was last done."""
