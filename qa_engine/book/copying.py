"""A copy of a record book made while others go on writing to it."""

import shutil
import sqlite3
from pathlib import Path

from qa_engine.book.attachments import place_of
from qa_engine.book.connection import SUFFIX
from qa_engine.book.faults import in_plain_words
from qa_engine.book.store import Book
from qa_engine.errors import BookError


def copy_book(book: Book, path: Path) -> Path:
    """Copy a book in a file, with its attachments, as it is now; writers need not wait.

    The copy gets its name only when it is whole: it is written beside it first.

    Args:
        book: the record book.
        path: where the copy goes; ends in .book and is not there yet.

    Raises:
        BookError: the book is no file, there is something already, or it cannot be written.
    """
    if book.folder is None:
        raise BookError(
            f"{book.url}: a database on a server is backed up with that server's own tools, such "
            "as pg_dump; `qa-engine book export` writes a folder that any book can be made from"
        )
    if path.suffix != SUFFIX:
        raise BookError(f"{path}: the name of a book ends in {SUFFIX}")
    if path.exists():
        raise BookError(f"{path}: is there already; name a new file")
    half = path.with_name(f".half of {path.name}")
    try:
        _copy_file(book, half)
        _copy_attachments(book, half, path)
        half.replace(path)
    except OSError as error:
        raise BookError(f"{path}: cannot be written: {error.strerror}") from None
    finally:
        for one in (half, *(Path(f"{half}{end}") for end in ("-wal", "-shm", "-journal"))):
            one.unlink(missing_ok=True)
    return path


def _copy_file(book: Book, half: Path) -> None:
    half.unlink(missing_ok=True)
    with in_plain_words(book.engine, book.url), book.engine.connect() as held:
        target = sqlite3.connect(half)
        try:
            source = held.connection.dbapi_connection
            assert isinstance(source, sqlite3.Connection)
            source.backup(target)
        finally:
            target.close()


def _copy_attachments(book: Book, half: Path, path: Path) -> None:
    """Copy the attachments that the copy speaks of; each stands under its digest."""
    with sqlite3.connect(half) as held:
        names = [row[0] for row in held.execute("SELECT DISTINCT sha256 FROM attachments")]
    held.close()
    source, target = book.folder, Path(f"{path.absolute()}.files")
    for name in names:
        to = place_of(target, name)
        to.parent.mkdir(parents=True, exist_ok=True)
        if source is not None:
            shutil.copyfile(place_of(source, name), to)
