"""Connections to the database that holds a book, the same for SQLite and PostgreSQL.

A write transaction has the book to itself from its first statement on: on SQLite it begins
IMMEDIATE, on PostgreSQL it takes a lock that all writers share. Readers see the book as it was
committed when they began, and never wait.
"""

import sqlite3
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from functools import partial
from pathlib import Path
from random import Random
from time import sleep
from typing import Any

from sqlalchemy import URL, Connection, Engine, QueuePool, create_engine, event, make_url
from sqlalchemy.exc import ArgumentError, OperationalError

from qa_engine.book.faults import is_busy
from qa_engine.errors import BookError

SUFFIX = ".book"
BUSY_MS = 5_000
ASKING_MS = 15
TRIES = 4_000
"""How often a writer asks for the book before it gives up, each time for ``ASKING_MS`` and up to
``LONGEST_PAUSE_S`` later: about a minute and a half in all. SQLite's own way of waiting asks ever
more rarely, so that one of many may wait for very long."""

LONGEST_PAUSE_S = 0.015

CACHE_KIB = 131_072
WRITERS = 0x_71_61_62_6F_6F_6B
"""The number of the lock that all writers of a book on PostgreSQL share."""

PRAGMAS = (
    "synchronous=FULL",
    "foreign_keys=ON",
    "recursive_triggers=ON",  # or REPLACE would delete rows past the triggers
    "secure_delete=ON",  # an erased name is overwritten
    "trusted_schema=OFF",
    f"busy_timeout={BUSY_MS}",
    f"cache_size=-{CACHE_KIB}",
)


def is_book(address: str) -> bool:
    """Tell whether somebody means a book by what they wrote, rather than a file of records."""
    return address.endswith(SUFFIX) or address.startswith(("sqlite:", "postgresql:", "postgres:"))


def address_of(written: str | Path) -> URL:
    """Return the address of a book from a path that ends in .book or the URL of a database.

    Raises:
        BookError: it is neither.
    """
    text = str(written)
    if "://" not in text:
        return URL.create("sqlite", database=str(Path(text).absolute()))
    try:
        url = make_url(text)
    except ArgumentError:
        raise BookError(f"{text}: not the URL of a database") from None
    if url.drivername in ("postgresql", "postgres", "postgresql+psycopg"):
        return url.set(drivername="postgresql+psycopg")
    if url.drivername != "sqlite" or not url.database:
        raise BookError(
            f"{url}: a book is a file whose name ends in {SUFFIX}, or a database whose URL begins "
            "with sqlite:/// or postgresql://"
        )
    return url.set(database=str(Path(url.database).absolute()))


def folder_of(url: URL) -> Path | None:
    """Return the folder beside a book for the bytes of attachments; None if it has no such."""
    return Path(f"{url.database}.files") if url.drivername == "sqlite" else None


def shown(url: URL) -> str:
    """Return the address as messages may show it: without a password."""
    if url.drivername == "sqlite":
        return str(url.database)
    return url.set(drivername="postgresql").render_as_string(hide_password=True)


def connect(url: URL, mode: str = "rw") -> Engine:
    """Return an engine for a book.

    Args:
        url: its address.
        mode: how SQLite opens the file: rw, rwc (make it if it is not there), ro, or immutable
            (a medium that nobody can write to).

    Raises:
        BookError: PostgreSQL is asked for and the package for it is not installed.
    """
    if url.drivername == "sqlite":
        opener = partial(_open_file, Path(str(url.database)), mode)
        engine = create_engine(url, creator=opener, poolclass=QueuePool)
        event.listen(engine, "begin", _begin)
        return engine
    try:
        return create_engine(url, pool_pre_ping=True)
    except ModuleNotFoundError as error:
        raise BookError(
            f"{shown(url)}: needs {error.name}; install it with: pip install 'qa-engine[postgres]'"
        ) from None


def _open_file(path: Path, mode: str) -> sqlite3.Connection:
    query = "mode=ro&immutable=1" if mode == "immutable" else f"mode={mode}"
    connection = sqlite3.connect(
        f"{path.as_uri()}?{query}", uri=True, isolation_level=None, check_same_thread=False
    )
    for pragma in PRAGMAS:
        connection.execute(f"PRAGMA {pragma}")
    return connection


def _begin(connection: Connection) -> None:
    if not connection.get_execution_options().get("write"):
        connection.exec_driver_sql("BEGIN")
        return
    cursor = connection.connection.cursor()
    cursor.execute(f"PRAGMA busy_timeout={ASKING_MS}")
    try:
        connection.exec_driver_sql("BEGIN IMMEDIATE")
    finally:
        cursor.execute(f"PRAGMA busy_timeout={BUSY_MS}")
        cursor.close()


@contextmanager
def reading(engine: Engine) -> Iterator[Connection]:
    """Give a connection that sees the book as it is now, whatever is added meanwhile."""
    options: dict[str, Any] = {}
    if engine.dialect.name == "postgresql":
        options = {"isolation_level": "REPEATABLE READ", "postgresql_readonly": True}
    with engine.connect() as connection:
        connection = connection.execution_options(**options)
        with connection.begin():
            yield connection


@contextmanager
def writing(engine: Engine, *, tries: int = TRIES) -> Iterator[Connection]:
    """Give a connection that has the book to itself; commits at the end, or takes all back."""
    connection = _locked(engine, tries)
    try:
        yield connection
        connection.commit()
    finally:
        connection.close()


def _locked(engine: Engine, tries: int) -> Connection:
    if engine.dialect.name == "postgresql":
        return _locked_on_server(engine, tries)
    waits = Random()  # so that writers who wait do not ask in step
    for left in reversed(range(tries)):
        try:
            return _begun(engine)
        except OperationalError as error:
            if not is_busy(error) or not left:
                raise
        sleep(waits.uniform(0.001, LONGEST_PAUSE_S))
    raise AssertionError("a writer tries at least once")


def _locked_on_server(engine: Engine, tries: int) -> Connection:
    with ExitStack() as unless_begun:
        connection = engine.connect()
        unless_begun.callback(connection.close)
        connection.begin()
        connection.exec_driver_sql(f"SET LOCAL lock_timeout = {tries * ASKING_MS}")
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({WRITERS})")
        unless_begun.pop_all()
    return connection


def _begun(engine: Engine) -> Connection:
    with ExitStack() as unless_begun:
        connection = engine.connect().execution_options(write=True)
        unless_begun.callback(connection.close)
        connection.begin()
        unless_begun.pop_all()
    return connection
