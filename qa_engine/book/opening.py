"""Making a book, and opening one."""

import os
from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path
from secrets import token_hex

from sqlalchemy import URL, Connection, Engine, inspect

from qa_engine.book import connection as connections
from qa_engine.book import schema
from qa_engine.book.canonical import CANONICAL_FORM, Submission
from qa_engine.book.faults import cannot_write, in_plain_words
from qa_engine.book.migrations import (
    STEPS,
    Step,
    bring_forward,
    check_version,
    make_tables,
    version_of,
)
from qa_engine.book.store import Book
from qa_engine.book.writing import append
from qa_engine.book.written_bodies import bodies_to_put
from qa_engine.errors import BookError

MODES = ("rw", "ro", "immutable")
"""How a file is tried to be opened, until one does."""


def create_book(
    url: str | Path,
    *,
    operator: str,
    time_zone: str,
    entered_at: datetime,
    entered_by: str,
    book_id: str | None = None,
) -> Book:
    """Make a new book and open it.

    Args:
        url: a path that ends in .book, or the URL of an empty PostgreSQL database.
        operator: the operator's name.
        time_zone: the zone in which the operator's days are counted.
        entered_at: when it is made.
        entered_by: the id of the person who makes it.
        book_id: what tells it from every other book; by default a random one.

    Raises:
        BookError: there is something already, or it cannot be made.
    """
    about = {"operator": operator, "time_zone": time_zone, "canonical_form": str(CANONICAL_FORM)}
    book_id = book_id or token_hex(16)
    submission = Submission(book_id, entered_at, entered_by)

    def fill(_: Book, held: Connection) -> None:
        said = [{"key": key, "value": value} for key, value in {"id": book_id, **about}.items()]
        held.execute(schema.book.insert(), said)
        append(held, bodies_to_put(held, "book", {book_id: about}, submission), submission)

    return new_book(url, fill)


def new_book(url: str | Path, fill: Callable[[Book, Connection], None]) -> Book:
    """Make the tables of a new book, fill them, all or nothing, and open the book.

    Args:
        url: where, as for ``create_book``.
        fill: is given the book and a write transaction.

    Raises:
        BookError: there is something already, or it cannot be made.
    """
    address = connections.address_of(url)
    _check_folder(address)
    book = Book(connections.connect(address, "rwc"), connections.shown(address), _folder(address))
    try:
        _set_journal(book)
        with book.writing() as held:
            _check_empty(held, book.url)
            make_tables(held)
            fill(book, held)
    except BookError:
        book.close()
        raise
    return book


def _folder(address: URL) -> Path | None:
    return connections.folder_of(address)


def _check_folder(address: URL) -> None:
    if address.drivername != "sqlite":
        return
    path = Path(str(address.database))
    if path.suffix != connections.SUFFIX:
        raise BookError(f"{path}: the name of a book ends in {connections.SUFFIX}")
    if not path.parent.is_dir():
        raise BookError(f"{path}: there is no folder {path.parent}; make it first")


def _set_journal(book: Book) -> None:
    """Let readers and a writer of a file not wait for each other; the file remembers it."""
    if book.engine.dialect.name == "sqlite":
        with in_plain_words(book.engine, book.url), book.engine.connect() as held:
            held.connection.cursor().execute("PRAGMA journal_mode=WAL")


def _check_empty(held: Connection, url: str) -> None:
    if version_of(held) is not None:
        raise BookError(f"{url}: there is a record book already; open it, or name another place")
    if inspect(held).get_table_names():
        raise BookError(f"{url}: there is something else already; name another place")


def open_book(
    url: str | Path, *, steps: Sequence[Step] = STEPS, tries: int = connections.TRIES
) -> Book:
    """Open a book; one that an older program wrote is brought forward.

    Args:
        url: a path that ends in .book, or the URL of a database.
        steps: how books are brought forward.
        tries: how often a writer asks for the book while another has it.

    Raises:
        BookError: it is not there, is no book, is of a newer program, or cannot be opened.
    """
    address = connections.address_of(url)
    shown = connections.shown(address)
    if address.drivername == "sqlite" and not os.path.isfile(str(address.database)):  # noqa: PTH113
        raise BookError(f"{shown}: no such file; make it with: qa-engine book create")
    engine, version = _opened(address, shown)
    book = Book(engine, shown, _folder(address), tries)
    try:
        if check_version(version, steps):
            with book.writing() as held:
                bring_forward(held, steps)
    except BookError as error:
        book.close()
        told = str(error)
        raise BookError(told if told.startswith(shown) else f"{shown}: {told}") from error
    return book


def _opened(address: URL, shown: str) -> tuple[Engine, int | None]:
    """Open a database in the first way that works and return the version of its tables."""
    modes = MODES if address.drivername == "sqlite" else MODES[:1]
    for mode in modes:
        engine = connections.connect(address, mode)
        try:
            with in_plain_words(engine, shown), connections.reading(engine) as held:
                return engine, version_of(held)
        except BookError as error:
            engine.dispose()
            if mode == modes[-1] or not cannot_write(error) or _has_journal(address):
                raise
    raise AssertionError("one way is the last")


def _has_journal(address: URL) -> bool:
    """Tell whether a book has entries that stand only in its journal, which must be read then."""
    journal = Path(f"{address.database}-wal")
    return journal.is_file() and journal.stat().st_size > 0
