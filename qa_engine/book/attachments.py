"""Files that belong to records: their bytes beside the book, their digests in it."""

import os
from datetime import datetime
from hashlib import sha256
from pathlib import Path
from secrets import token_hex
from typing import TYPE_CHECKING

from sqlalchemy import Connection, select

from qa_engine.book.canonical import Submission
from qa_engine.book.schema import BODY_KINDS, attached, attachments, entries
from qa_engine.book.submission import Receipt
from qa_engine.book.writing import append, known_receipt
from qa_engine.book.written_bodies import bodies_to_put
from qa_engine.errors import BookError

if TYPE_CHECKING:
    from qa_engine.book.store import Book

LARGEST = 100_000_000
"""Larger files are no attachments [bytes]."""


def digest(data: bytes) -> str:
    """Return the SHA-256 of bytes, in hexadecimal."""
    return sha256(data).hexdigest()


def place_of(folder: Path, sha256_: str) -> Path:
    """Return where the bytes with a digest lie in the folder beside a book."""
    return folder / sha256_[:2] / sha256_


def keep_beside(folder: Path, data: bytes) -> None:
    """Keep bytes in the folder beside a book; whole and on the disk when this returns.

    Raises:
        BookError: they cannot be written.
    """
    place = place_of(folder, digest(data))
    if place.is_file() and digest(place.read_bytes()) == place.name:
        return
    half = place.with_name(f"{place.name}.{token_hex(4)}")
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        with half.open("wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        half.replace(place)
    except OSError as error:
        half.unlink(missing_ok=True)
        raise BookError(f"{place}: the attachment cannot be kept: {error.strerror}") from None


def keep_within(connection: Connection, data: bytes) -> None:
    """Keep bytes in the database, where there is no folder beside it."""
    name = digest(data)
    held = connection.execute(select(attached.c.sha256).where(attached.c.sha256 == name)).first()
    if held is None:
        connection.execute(attached.insert().values(sha256=name, bytes=data))


def bytes_of(connection: Connection, folder: Path | None, sha256_: str) -> bytes:
    """Return the bytes with a digest.

    Raises:
        BookError: they are gone.
    """
    if folder is not None:
        place = place_of(folder, sha256_)
        if place.is_file():
            return place.read_bytes()
        raise BookError(f"{place}: the attachment is gone; take it from a backup")
    query = select(attached.c.bytes).where(attached.c.sha256 == sha256_)
    row = connection.execute(query).first()
    if row is None:
        raise BookError(f"the bytes of attachment {sha256_} are gone; take them from a backup")
    return bytes(row[0])


def describe(
    connection: Connection, entry: int, record: str | None, type_: str, data: bytes
) -> None:
    """Write down which attachment an entry is about."""
    row = {"entry": entry, "sha256": digest(data), "record": record}
    row |= {"type": type_, "size": len(data)}
    connection.execute(attachments.insert().values(row))


def attach(
    book: "Book",
    data: bytes,
    *,
    type: str,
    record: str | None = None,
    key: str,
    entered_at: datetime,
    entered_by: str,
) -> Receipt:
    """Attach a file, such as a photo, a certificate or a waste note, to a record.

    Its digest, type and size go into the log; its bytes beside the book, or into the database
    where that has no folder. The same file for the same record again adds nothing.

    Args:
        book: the record book.
        data: the bytes.
        type: the media type, such as ``image/jpeg``.
        record: the id of the record that it belongs to; None for the book as a whole.
        key: the client's own unique key.
        entered_at: when it comes in.
        entered_by: the id of the person who enters it.

    Raises:
        BookError: there is no such record, or the file is too large or cannot be kept.
    """
    if len(data) > LARGEST:
        raise BookError(f"the attachment has {len(data)} bytes; expected at most {LARGEST}")
    submission = Submission(key, entered_at, entered_by)
    body = {"sha256": digest(data), "size": len(data), "type": type}
    body |= {} if record is None else {"record": record}
    if book.folder is not None:
        keep_beside(book.folder, data)
    with book.writing() as held:
        if (known := known_receipt(held, key)) is not None:
            return known
        _check_record(held, record)
        id_ = f"{record or 'book'}/{digest(data)[:16]}"
        receipt = append(
            held, bodies_to_put(held, "attachment", {id_: body}, submission), submission
        )
        if receipt.entries:
            describe(held, receipt.first_entry, record, type, data)
        if book.folder is None:
            keep_within(held, data)
        return receipt


def _check_record(connection: Connection, record: str | None) -> None:
    if record is None:
        return
    query = select(entries.c.entry).where(entries.c.id == record, entries.c.kind.not_in(BODY_KINDS))
    if connection.execute(query.limit(1)).first() is None:
        raise BookError(f"there is no record {record} to attach a file to; nothing was added")
