"""What stands beside the log of a book: what it says of itself, names, attachments, guards."""

import json
from collections.abc import Iterator, Mapping
from hashlib import sha256
from pathlib import Path
from typing import Any

from sqlalchemy import Connection

from qa_engine.book import schema
from qa_engine.book.attachments import place_of
from qa_engine.book.breach import Breach
from qa_engine.book.guards import missing_guards
from qa_engine.book.migrations import FIRST, STEPS
from qa_engine.book.people import commitment
from qa_engine.book.stretch import DAMAGED, fetched, rows_of

BYTES_AT_ONCE = 1 << 20
PROBLEMS_SHOWN = 20


def breaches_beside(connection: Connection, folder: Path | None) -> Iterator[Breach]:
    """Yield what is wrong beside the log.

    Args:
        connection: a transaction that reads.
        folder: where the bytes of attachments lie; None if they lie in the database.
    """
    yield from _of_the_file(connection)
    for guard in missing_guards(connection):
        yield Breach(f"the guard {guard} that keeps rows from being changed was removed or altered")
    yield from _of_the_book(connection)
    yield from _of_migrations(connection)
    yield from _of_people(connection)
    yield from _of_attachments(connection, folder)


def _of_the_file(connection: Connection) -> Iterator[Breach]:
    """Yield what SQLite finds wrong with its file, such as an index that does not fit."""
    if connection.dialect.name != "sqlite":
        return
    for (says,) in fetched(connection, f"PRAGMA integrity_check({PROBLEMS_SHOWN})"):
        if says != "ok":
            yield Breach(f"the file is damaged: {' '.join(says.split())}")


def _of_the_book(connection: Connection) -> Iterator[Breach]:
    """Yield whether what the book says of itself differs from what its first entry says."""
    rows = rows_of(connection, schema.book)
    said = dict(rows.select("key", "value").iter_rows())
    first = bodies_of(connection, "book")
    if [entry for entry, _, _ in first] != [1]:
        yield Breach("the entry that says which book this is stands not first, or not once", 1)
    for _, id_, body in first[:1]:
        if said != {"id": id_, **body} or rows[DAMAGED].any():
            yield Breach("what the table 'book' says was changed: its first entry says otherwise")


def _of_migrations(connection: Connection) -> Iterator[Breach]:
    """Yield whether the versions of the tables are not those that led to this one."""
    known = [(FIRST, "made"), *((step.version, step.what) for step in STEPS)]
    rows = rows_of(connection, schema.migrations, "1 = 1 ORDER BY version")
    found = list(rows.select("version", "what").iter_rows())
    likely = [[(known[at][0], "made"), *known[at + 1 :]] for at in range(len(known))]
    if found not in likely:
        yield Breach("what the table 'migrations' says was changed")


def _of_people(connection: Connection) -> Iterator[Breach]:
    """Yield the names that are not those committed to; erased ones are as they should be."""
    rows = {row["entry"]: row for row in rows_of(connection, schema.people).iter_rows(named=True)}
    for entry, person, body in bodies_of(connection, "person"):
        row = rows.pop(entry, None)
        if row is None:
            yield Breach("its row in 'people' was removed", entry, kind="person", id=person)
        elif row[DAMAGED] or row["person"] != person or not _fits(row, body):
            yield Breach("its row in 'people' was changed", entry, kind="person", id=person)
    for entry in rows:
        yield Breach("a row of 'people' was inserted: no such entry names a person", entry)


def _fits(row: Mapping[str, Any], body: Mapping[str, Any]) -> bool:
    if row["salt"] is None and row["name"] is None:
        return True
    if row["salt"] is None or row["name"] is None:
        return False
    return commitment(row["salt"], row["name"]) == body.get("commitment")


def _of_attachments(connection: Connection, folder: Path | None) -> Iterator[Breach]:
    """Yield the attachments that are gone, or are not what was entered."""
    listed = rows_of(connection, schema.attachments).iter_rows(named=True)
    rows = {row["entry"]: row for row in listed}
    held: set[str] = set()
    for entry, id_, body in bodies_of(connection, "attachment"):
        row = rows.pop(entry, None)
        held.add(str(body.get("sha256")))
        if row is None or row[DAMAGED] or not _described(row, body):
            yield Breach(
                "its row in 'attachments' was removed or changed", entry, None, "attachment", id_
            )
        if (says := _wrong_bytes(connection, folder, body)) is not None:
            yield Breach(says, entry, None, "attachment", id_)
    for entry in rows:
        yield Breach("a row of 'attachments' was inserted: no such entry is one", entry)
    for (name,) in fetched(connection, "SELECT sha256 FROM attached"):
        if name not in held:
            yield Breach(f"bytes of an attachment were inserted or renamed: {name}")


def _described(row: Mapping[str, Any], body: Mapping[str, Any]) -> bool:
    return all(row[name] == body.get(name) for name in ("sha256", "record", "type", "size"))


def _wrong_bytes(
    connection: Connection, folder: Path | None, body: Mapping[str, Any]
) -> str | None:
    name = str(body.get("sha256"))
    found = _of_file(place_of(folder, name)) if folder else _of_row(connection, name)
    if found is None:
        return "the attachment's bytes were removed"
    return None if found == (name, body.get("size")) else "the attachment's bytes were changed"


def _of_file(place: Path) -> tuple[str, int] | None:
    digest, size = sha256(), 0
    try:
        with place.open("rb") as stream:
            while piece := stream.read(BYTES_AT_ONCE):
                digest.update(piece)
                size += len(piece)
    except OSError:
        return None
    return digest.hexdigest(), size


def _of_row(connection: Connection, name: str) -> tuple[str, int] | None:
    rows = fetched(connection, "SELECT bytes FROM attached WHERE sha256 = {}", (name,))
    return (sha256(rows[0][0]).hexdigest(), len(rows[0][0])) if rows else None


def bodies_of(connection: Connection, kind: str) -> list[tuple[int, str, dict[str, Any]]]:
    """Return entry, id and body of the entries of a kind; one that cannot be read is empty."""
    where = "entry IN (SELECT entry FROM entries WHERE kind = {}) ORDER BY entry"
    texts = rows_of(connection, schema.bodies, where, (kind,)).select("entry", "body")
    ids = rows_of(connection, schema.entries, "kind = {}", (kind,)).select("entry", "id")
    rows = ids.join(texts, on="entry", how="left").sort("entry").iter_rows()
    return [(entry, id_, _read(text)) for entry, id_, text in rows]


def _read(text: str | None) -> dict[str, Any]:
    try:
        found = json.loads(text or "{}")
    except ValueError:
        return {}
    return found if isinstance(found, dict) else {}
