"""Everything in a record book written to a folder, for keeping and for other programs."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import polars as pl
from sqlalchemy import Connection, Select, Table, select

from qa_engine.book import schema
from qa_engine.book.attachments import bytes_of
from qa_engine.book.canonical import CANONICAL_FORM
from qa_engine.book.export_form import (
    ABOUT,
    BY_ENTRY,
    FILES,
    FORM,
    WHOLE,
    columns_of,
    submission_columns,
)
from qa_engine.book.rows import fetch
from qa_engine.book.store import Book
from qa_engine.book.writing import Head, head_of
from qa_engine.errors import BookError

ENTRIES_PER_PART = 250_000


def export_book(
    book: Book, folder: Path, *, with_names: bool = True, entries_per_part: int = ENTRIES_PER_PART
) -> int:
    """Write everything in a book to a new folder and return how many entries that are.

    Args:
        book: the record book; others may add to it meanwhile, what they add is left out.
        folder: is made; must not be there, or must be empty.
        with_names: whether names of people are written; without them they are as if erased.
        entries_per_part: how many entries a Parquet file holds.

    Raises:
        BookError: the folder holds something, or cannot be written, or an attachment is gone.
    """
    try:
        _make(folder)
        with book.reading() as held:
            head = head_of(held)
            _write_parts(held, folder, head, with_names, entries_per_part)
            _write_attachments(held, book.folder, folder / FILES)
            _write_about(held, folder, head)
    except OSError as error:
        raise BookError(
            f"{error.filename or folder}: cannot be written: {error.strerror}"
        ) from None
    return head.frontier.size


def _make(folder: Path) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    if any(folder.iterdir()):
        raise BookError(f"{folder}: there is something in it; name a new folder")


def _write_about(held: Connection, folder: Path, head: Head) -> None:
    said = held.execute(select(schema.book.c.key, schema.book.c.value).order_by(schema.book.c.key))
    about = {
        "form": FORM,
        "canonical_form": CANONICAL_FORM,
        "book": {row[0]: row[1] for row in said},
        "submissions": head.submission,
        "entries": head.frontier.size,
        "root": head.frontier.root.hex(),
    }
    text = json.dumps(about, indent=1, ensure_ascii=False) + "\n"
    (folder / ABOUT).write_text(text, encoding="utf-8", newline="\n")


def _write_parts(
    held: Connection, folder: Path, head: Head, with_names: bool, entries_per_part: int
) -> None:
    for part, first in enumerate(range(1, head.frontier.size + 1, entries_per_part), 1):
        last = first + entries_per_part - 1
        for table in BY_ENTRY:
            query = select(table).where(table.c.entry.between(first, last))
            frame = fetch(held, query.order_by(table.c.entry), columns_of(table))
            if table is schema.people and not with_names:
                frame = frame.with_columns(
                    pl.lit(None).cast(frame[n].dtype).alias(n) for n in _SECRET
                )
            _write(frame, folder, table.name, part)
        submitted = fetch(held, _submissions(first, last), submission_columns())
        _write(submitted, folder, schema.submissions.name, part)
    for table in WHOLE:
        query = select(table).order_by(*table.primary_key)
        _write(fetch(held, query, columns_of(table)), folder, table.name, 1)


_SECRET = ("salt", "name")


def _submissions(first: int, last: int) -> Select[Any]:
    """Return the query for the submissions that begin in a part, with their roots."""
    told, heads = schema.submissions, schema.tree_heads
    return (
        select(told, heads.c.root)
        .join(heads, heads.c.submission == told.c.submission)
        .where(told.c.first_entry.between(first, last))
        .order_by(told.c.submission)
    )


def _write(frame: pl.DataFrame, folder: Path, table: str, part: int) -> None:
    if frame.is_empty():
        return
    path = folder / table / f"{part:06}.parquet"
    path.parent.mkdir(exist_ok=True)
    frame.write_parquet(path)


def _write_attachments(held: Connection, beside: Path | None, folder: Path) -> None:
    for name in _attached(held):
        folder.mkdir(exist_ok=True)
        (folder / name).write_bytes(bytes_of(held, beside, name))


def _attached(held: Connection) -> Iterator[str]:
    yield from held.execute(select(schema.attachments.c.sha256).distinct()).scalars().all()


def parts_of(folder: Path, table: Table) -> list[Path]:
    """Return the files that hold a table's rows in an export, in order."""
    return sorted((folder / table.name).glob("*.parquet"))
