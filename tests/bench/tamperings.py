"""Ways to tamper with a record book, each at random, past its guards."""

import struct
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from random import Random
from typing import Any

from sqlalchemy import (
    Column,
    Connection,
    Table,
    Text,
    cast,
    create_engine,
    func,
    select,
    text,
)
from sqlalchemy.exc import DBAPIError

from qa_engine.book.merkle import Frontier
from qa_engine.book.schema import (
    LOG,
    RECORD_TABLES,
    entries,
    people,
    submissions,
    tree_heads,
)
from qa_engine.book.stretch import stretches
from qa_engine.book.verify_rows import FOUND, beside, reckoned

TARGETS = (*LOG, people)
Done = tuple[str, int | None] | None
"""What was done, and to which entry; None where it cannot be done here."""


@contextmanager
def unguarded(url: str) -> Iterator[Connection]:
    """Give a connection past the guards, as somebody has who owns the database."""
    engine = create_engine(url)
    try:
        with engine.begin() as connection:
            if engine.dialect.name == "postgresql":
                connection.execute(text("SET LOCAL session_replication_role = replica"))
                yield connection
            else:
                guards = connection.execute(_TRIGGERS).all()
                for name, _ in guards:
                    connection.exec_driver_sql(f'DROP TRIGGER "{name}"')
                yield connection
                for _, sql in guards:
                    connection.exec_driver_sql(sql)
    finally:
        engine.dispose()


_TRIGGERS = text("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")


def tamper(url: str, way: Callable[[Connection, Random], Done], random: Random) -> Done:
    """Tamper in one way; None if that changed nothing or the database would not have it."""
    try:
        with unguarded(url) as connection:
            return way(connection, random)
    except (DBAPIError, UnicodeDecodeError):
        return None


def alter_a_byte(connection: Connection, random: Random) -> Done:
    """Alter one bit of one value of one row."""
    table, row = _any_row(connection, random)
    column = random.choice([column for column in table.columns if row[column.name] is not None])
    value = _altered(row[column.name], random)
    is_sqlite = connection.dialect.name == "sqlite"
    if is_sqlite and value == row[column.name]:
        return None  # plus and minus zero are the same to SQLite
    if isinstance(column.type, Text):
        value = cast(value, Text) if is_sqlite else value.decode()
    connection.execute(table.update().where(*_is(table, row)).values({column: value}))
    return f"a byte of {table.name}.{column.name}", row.get("entry")


def remove_a_row(connection: Connection, random: Random) -> Done:
    """Remove one row."""
    table, row = _any_row(connection, random)
    connection.execute(table.delete().where(*_is(table, row)))
    return f"a row of {table.name} removed", row.get("entry")


def remove_an_entry(connection: Connection, random: Random) -> Done:
    """Remove an entry with all that is stored about it."""
    entry = random.choice(_numbers(connection))
    for table in by_entry():
        connection.execute(table.delete().where(table.c.entry == entry))
    return "an entry removed", entry


def insert_a_row(connection: Connection, random: Random) -> Done:
    """Insert a copy of a row under another number or name."""
    table, row = _any_row(connection, random)
    for column in table.primary_key:
        row[column.name] = _other_key(connection, table, column, random)
    if table is submissions:
        row["key"] += "x"
    connection.execute(table.insert().values(row))
    return f"a row of {table.name} inserted", row.get("entry")


def insert_an_entry(connection: Connection, random: Random) -> Done:
    """Insert a copy of an entry, with what is stored about it, in the middle or at the end."""
    numbers = _numbers(connection)
    copied, place = random.choice(numbers), random.choice([*numbers, numbers[-1] + 1])
    rows = {t: _rows(connection, t, copied) for t in by_entry()}
    for table in by_entry():
        for entry in sorted(_numbers(connection, table), reverse=True):
            if entry >= place:
                _renumber(connection, table, entry, entry + 1)
    for table, held in rows.items():
        for row in held:
            connection.execute(table.insert().values(row | {"entry": place, **_alone(table)}))
    return "an entry inserted", place


def _alone(table: Table) -> dict[str, Any]:
    return {"supersedes": None} if table is entries else {}


def swap_entries(connection: Connection, random: Random) -> Done:
    """Let two entries change places, with all that is stored about them."""
    one, other = random.sample(_numbers(connection), 2)
    for table in by_entry():
        swap(connection, table, one, other)
    return "two entries swapped", one


def swap_rows(connection: Connection, random: Random) -> Done:
    """Let two rows of one table change places."""
    table = random.choice([t for t in by_entry() if len(_numbers(connection, t)) > 1])
    one, other = random.sample(_numbers(connection, table), 2)
    swap(connection, table, one, other)
    return f"two rows of {table.name} swapped", one


def swap_submissions(connection: Connection, random: Random) -> Done:
    """Let two submissions change places."""
    numbers = list(connection.execute(select(submissions.c.submission)).scalars())
    one, other = random.sample(numbers, 2)
    for old, new in ((one, -1), (other, one), (-1, other)):
        mine = submissions.update().where(submissions.c.submission == old)
        connection.execute(mine.values(submission=new))
    return "two submissions swapped", None


def alter_with_digest(connection: Connection, random: Random) -> Done:
    """Alter a value and reckon the digest of its entry anew."""
    done = _alter_a_value(connection, random)
    if done is not None:
        reckon_digests(connection)
    return done and ("a value with its digest", done[1])


def alter_with_tree(connection: Connection, random: Random) -> Done:
    """Alter a value that the first kept head speaks of and reckon digests and tree anew."""
    done = _alter_a_value(connection, random)
    if done is not None:
        reckon_digests(connection)
        reckon_tree(connection)
    return done and ("a value with digest and tree", done[1])


def _alter_a_value(connection: Connection, random: Random) -> Done:
    table = random.choice([t for t in RECORD_TABLES.values() if _numbers(connection, t)])
    entry = random.choice(_numbers(connection, table))
    note = f"altered {random.random()}"
    connection.execute(table.update().where(table.c.entry == entry).values(note=note))
    return "a value", entry


def reckon_digests(connection: Connection) -> None:
    """Make every digest fit what is stored now."""
    for stretch in stretches(connection):
        found = reckoned(beside(stretch))
        for entry, digest in found.select("entry", FOUND).iter_rows():
            row = entries.update().where(entries.c.entry == entry)
            connection.execute(row.values(digest=digest))


def reckon_tree(connection: Connection) -> None:
    """Make every tree head fit the digests that are stored now."""
    digests = connection.execute(select(entries.c.digest).order_by(entries.c.entry)).scalars()
    held, grown = [bytes(digest) for digest in digests], Frontier()
    for number, size in connection.execute(
        select(tree_heads.c.submission, tree_heads.c.size).order_by(tree_heads.c.submission)
    ).all():
        grown = grown.append(held[grown.size : size])
        row = tree_heads.update().where(tree_heads.c.submission == number)
        connection.execute(row.values(root=grown.root, frontier=grown.to_bytes()))


def _any_row(connection: Connection, random: Random) -> tuple[Table, dict[str, Any]]:
    counts = {
        t: connection.execute(select(func.count()).select_from(t)).scalar_one() for t in TARGETS
    }
    filled = [table for table in TARGETS if counts[table]]
    table = random.choice(filled)
    query = select(table).order_by(*table.primary_key)
    row = connection.execute(query.offset(random.randrange(counts[table])).limit(1)).one()
    return table, dict(zip(table.columns.keys(), row, strict=True))


def _is(table: Table, row: dict[str, Any]) -> list[Any]:
    return [column == row[column.name] for column in table.primary_key]


def _altered(value: Any, random: Random) -> Any:
    """Return a value with one bit of its bytes changed."""
    if isinstance(value, float):
        (changed,) = struct.unpack(">d", _flipped(struct.pack(">d", value), random))
        return changed
    if isinstance(value, int):
        return int.from_bytes(
            _flipped(value.to_bytes(8, "big", signed=True), random), "big", signed=True
        )
    return _flipped(value.encode() if isinstance(value, str) else bytes(value), random)


def _flipped(data: bytes, random: Random) -> bytes:
    bit = random.randrange(8 * len(data)) if data else 0
    changed = bytearray(data or b"\0")
    changed[bit // 8] ^= 1 << bit % 8
    return bytes(changed)


def by_entry() -> list[Table]:
    return [table for table in TARGETS if "entry" in table.c]


def _numbers(connection: Connection, table: Table = entries) -> list[int]:
    return list(connection.execute(select(table.c.entry).order_by(table.c.entry)).scalars())


def _rows(connection: Connection, table: Table, entry: int) -> list[dict[str, Any]]:
    found = connection.execute(select(table).where(table.c.entry == entry)).mappings()
    return [dict(row) for row in found]


def _renumber(connection: Connection, table: Table, entry: int, new: int) -> None:
    connection.execute(table.update().where(table.c.entry == entry).values(entry=new))


def swap(connection: Connection, table: Table, one: int, other: int) -> None:
    _renumber(connection, table, one, -1)
    _renumber(connection, table, other, one)
    _renumber(connection, table, -1, other)


def _other_key(connection: Connection, table: Table, column: Column[Any], random: Random) -> Any:
    held = list(connection.execute(select(column)).scalars())
    if isinstance(held[0], str):
        return held[0] + "x"
    return random.choice([max(held) + 1, random.choice(_numbers(connection))])


WAYS: dict[Callable[[Connection, Random], Done], int] = {
    alter_a_byte: 10,
    remove_a_row: 3,
    remove_an_entry: 2,
    insert_a_row: 3,
    insert_an_entry: 2,
    swap_entries: 2,
    swap_rows: 2,
    swap_submissions: 1,
    alter_with_digest: 2,
    alter_with_tree: 2,
}
"""Every way, and how often it is taken beside the others."""
