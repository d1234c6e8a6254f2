"""Names of people: kept beside the log, so that they can be erased.

The log holds only a commitment, the SHA-256 of a random salt and the name. While salt and name are
kept they can be held against it; once they are erased, nothing in the log tells who it was.
"""

from datetime import datetime
from hashlib import sha256
from secrets import token_bytes
from typing import TYPE_CHECKING

from sqlalchemy import Connection, select

from qa_engine.book.canonical import Submission
from qa_engine.book.schema import people
from qa_engine.book.submission import Receipt
from qa_engine.book.writing import append, known_receipt
from qa_engine.book.written_bodies import bodies_to_put

if TYPE_CHECKING:
    from qa_engine.book.store import Book

SALT_BYTES = 32


def commitment(salt: bytes, name: str) -> str:
    """Return what the log says of a name, in hexadecimal."""
    return sha256(salt + name.encode()).hexdigest()


def new_salt() -> bytes:
    """Return a salt that nobody can guess."""
    return token_bytes(SALT_BYTES)


def keep_name(connection: Connection, entry: int, person: str, salt: bytes, name: str) -> None:
    """Keep the name that an entry commits to."""
    row = {"entry": entry, "person": person, "salt": salt, "name": name}
    connection.execute(people.insert().values(row))


def erase_names(connection: Connection, person: str) -> None:
    """Erase every name of a person and the salts; the commitments then say nothing any more."""
    mine = people.update().where(people.c.person == person)
    connection.execute(mine.values(salt=None, name=None))


def names(connection: Connection) -> dict[str, str]:
    """Return the name that each person has now; erased ones are left out."""
    query = select(people.c.person, people.c.name).order_by(people.c.entry)
    rows = {row[0]: row[1] for row in connection.execute(query)}
    return {person: name for person, name in rows.items() if name is not None}


def name_person(
    book: "Book",
    person: str,
    name: str,
    *,
    key: str,
    entered_at: datetime,
    entered_by: str,
    salt: bytes | None = None,
) -> Receipt:
    """Say what a person is called: the log gets a commitment, the name stands beside it.

    Args:
        book: the record book.
        person: the person's id, as records have it.
        name: the name; the one that the person has already adds nothing.
        key: the client's own unique key.
        entered_at: when it comes in.
        entered_by: the id of the person who enters it.
        salt: by default one that nobody can guess.
    """
    submission = Submission(key, entered_at, entered_by)
    salt = salt or new_salt()
    body = {"commitment": commitment(salt, name)}
    with book.writing() as held:
        if (known := known_receipt(held, key)) is not None:
            return known
        if names(held).get(person) == name:
            return append(held, [], submission)
        put = bodies_to_put(held, "person", {person: body}, submission)
        receipt = append(held, put, submission)
        keep_name(held, receipt.first_entry, person, salt, name)
        return receipt


def erase_person(book: "Book", person: str) -> None:
    """Erase every name of a person; the book stays whole, since the log never held one.

    On SQLite the journal is emptied as well, so that the name stands in no file of the book any
    more. Backups and exports that were made before still have it.
    """
    with book.writing() as held:
        erase_names(held, person)
    if book.engine.dialect.name == "sqlite":
        with book.engine.connect() as held:
            held.connection.cursor().execute("PRAGMA wal_checkpoint(TRUNCATE)")
