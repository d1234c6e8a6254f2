"""An exported record book made into a record book again: the same entries, digests and root."""

import json
from collections.abc import Iterator, Mapping
from itertools import islice
from pathlib import Path
from typing import Any

import polars as pl
from sqlalchemy import Connection, Table

from qa_engine.book import schema
from qa_engine.book.attachments import digest, keep_beside, keep_within
from qa_engine.book.canonical import CANONICAL_FORM
from qa_engine.book.export import parts_of
from qa_engine.book.export_form import (
    ABOUT,
    BY_ENTRY,
    FILES,
    FORM,
    WHOLE,
    columns_of,
    submission_columns,
)
from qa_engine.book.merkle import Frontier
from qa_engine.book.opening import new_book
from qa_engine.book.rows import Column, insert
from qa_engine.book.store import Book
from qa_engine.book.verify import breaches_within
from qa_engine.errors import BookError


def import_book(folder: Path, url: str | Path) -> Book:
    """Make a book from an export and open it; nothing is made if it is not whole.

    Args:
        folder: the export.
        url: where the book is made: a path that ends in .book, or an empty PostgreSQL database.

    Raises:
        BookError: the folder holds no export, or one that was changed; or the book cannot be made.
    """
    about = _about(folder)
    return new_book(url, lambda book, held: _fill(book, held, folder, about))


def _about(folder: Path) -> dict[str, Any]:
    path = folder / ABOUT
    try:
        about = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise BookError(f"{path}: cannot be read: {error.strerror}; is this an export?") from None
    except ValueError as error:
        raise BookError(f"{path}: is no JSON in UTF-8: {error}") from None
    if not isinstance(about, dict) or about.get("form") != FORM:
        raise BookError(f'{path}: is no export; expected "form": "{FORM}"')
    if about.get("canonical_form") != CANONICAL_FORM:
        raise BookError(f"{path}: an export of a newer program; install a newer qa-engine")
    return about


def _fill(book: Book, held: Connection, folder: Path, about: Mapping[str, Any]) -> None:
    said = about.get("book")
    if not isinstance(said, dict) or not said:
        raise BookError(f"{folder / ABOUT}: says not which book this is")
    rows = [{"key": str(key), "value": str(value)} for key, value in said.items()]
    held.execute(schema.book.insert(), rows)
    _take(held, folder, schema.submissions, submission_columns(), without="root")
    root = _make_heads(held, folder)
    if root.hex() != about.get("root"):
        raise BookError(f"{folder}: its entries do not make the root that {ABOUT} tells")
    for table in (*BY_ENTRY, *WHOLE):
        _take(held, folder, table, columns_of(table))
    _take_attachments(book, held, folder / FILES)
    if (wrong := next(breaches_within(book, held), None)) is not None:
        raise BookError(f"{folder}: was changed since it was exported: {wrong}")


def _take(
    held: Connection,
    folder: Path,
    table: Table,
    columns: Mapping[str, pl.DataType],
    without: str = "",
) -> None:
    for path in parts_of(folder, table):
        frame = _read(path, columns)
        insert(held, table, frame.drop(without, strict=False).to_dict())


def _read(path: Path, columns: Mapping[str, pl.DataType]) -> pl.DataFrame:
    try:
        frame = pl.read_parquet(path)
    except (OSError, pl.exceptions.PolarsError) as error:
        raise BookError(f"{path}: cannot be read: {' '.join(str(error).split())}") from None
    if frame.schema != pl.Schema(columns):
        raise BookError(f"{path}: its columns are not {', '.join(columns)} of the exported types")
    return frame


def _take_attachments(book: Book, held: Connection, folder: Path) -> None:
    for path in sorted(folder.glob("*")):
        data = path.read_bytes()
        if digest(data) != path.name:
            raise BookError(f"{path}: was changed since it was exported")
        if book.folder is None:
            keep_within(held, data)
        else:
            keep_beside(book.folder, data)


def _make_heads(held: Connection, folder: Path) -> bytes:
    """Write the tree head after each submission and return the last root.

    Raises:
        BookError: an exported root is another one.
    """
    frontier, digests = Frontier(), _digests(folder)
    for path in parts_of(folder, schema.submissions):
        frame = _read(path, submission_columns())
        grown = []
        for count in frame["entries"]:
            frontier = frontier.append(islice(digests, count))
            grown.append(frontier)
        columns: dict[str, Column] = {
            "submission": frame["submission"],
            "size": [one.size for one in grown],
            "root": [one.root for one in grown],
            "frontier": [one.to_bytes() for one in grown],
        }
        if [one.root for one in grown] != frame["root"].to_list():
            raise BookError(f"{path}: its roots are not those of the exported entries")
        insert(held, schema.tree_heads, columns)
    return frontier.root


def _digests(folder: Path) -> Iterator[bytes]:
    """Yield the exported digests in order."""
    for path in parts_of(folder, schema.entries):
        yield from _read(path, columns_of(schema.entries))["digest"].to_list()
