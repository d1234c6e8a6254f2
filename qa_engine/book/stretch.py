"""The rows of a book as they are stored, stretch by stretch, whatever was done to them.

A row that holds what its column cannot hold, such as a text that is no UTF-8, is still read; it is
marked as damaged.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import polars as pl
from sqlalchemy import Column, Connection, Double, LargeBinary, Table, Text

from qa_engine.book.schema import RECORD_TABLES, bodies, entries, submissions, tree_heads

ENTRIES_AT_ONCE = 50_000
LEAST, MOST = -(2**63), 2**63 - 1
DAMAGED = "is damaged"
"""A column of yes and no beside those of a table; no table has one with a space in its name."""


@dataclass(frozen=True)
class Stretch:
    """Some entries that follow one another, and all that is stored about them.

    Attributes:
        low, high: the numbers that it reaches from and to, inclusive.
        entries: the rows of ``entries`` in order.
        submissions: the submissions that those name.
        heads: the tree heads of those submissions.
        rows: the rows about those numbers in each table of records, and in ``bodies``.
    """

    low: int
    high: int
    entries: pl.DataFrame
    submissions: pl.DataFrame
    heads: pl.DataFrame
    rows: Mapping[str, pl.DataFrame]


def stretches(connection: Connection, at_once: int = ENTRIES_AT_ONCE) -> Iterator[Stretch]:
    """Yield the whole book in stretches of so many entries; the last reaches to the end."""
    low, more = LEAST, True
    while more:
        high, more = _end(connection, low, at_once)
        yield _stretch(connection, low, high)
        low = high + 1


def _end(connection: Connection, low: int, at_once: int) -> tuple[int, bool]:
    """Return where the stretch that begins at ``low`` ends, and whether there are more."""
    sql = "SELECT entry FROM entries WHERE entry >= {} ORDER BY entry LIMIT 1 OFFSET {}"
    found = fetched(connection, sql, (low, at_once - 1))
    return (found[0][0], found[0][0] < MOST) if found else (MOST, False)


def _stretch(connection: Connection, low: int, high: int) -> Stretch:
    within = (low, high)
    by_entry = "entry BETWEEN {} AND {} ORDER BY entry"
    named = (
        "submission IN (SELECT submission FROM entries WHERE entry BETWEEN {} AND {})"
        " ORDER BY submission"
    )
    return Stretch(
        low,
        high,
        rows_of(connection, entries, by_entry, within),
        rows_of(connection, submissions, named, within),
        rows_of(connection, tree_heads, named, within),
        {
            table.name: rows_of(connection, table, by_entry, within)
            for table in (*RECORD_TABLES.values(), bodies)
        },
    )


def rows_of(
    connection: Connection, table: Table, where: str = "1 = 1", values: Sequence[Any] = ()
) -> pl.DataFrame:
    """Return rows of a table as they are stored, with ``DAMAGED``.

    Args:
        connection: a transaction that reads.
        table: which table.
        where: a condition of the program's own, with ``{}`` for each value.
        values: the values.
    """
    as_bytes = connection.dialect.name == "sqlite"  # which keeps any bytes as a text
    names = ", ".join(_selected(column, as_bytes) for column in table.columns)
    sql = f'SELECT {names} FROM "{table.name}" WHERE {where}'  # names are the schema's own
    rows = fetched(connection, sql, values)
    damaged = [False] * len(rows)
    held = zip(*rows, strict=True) if rows else [()] * len(table.columns)
    columns = [
        _column(column, list(values), damaged)
        for column, values in zip(table.columns, held, strict=True)
    ]
    return pl.DataFrame([*columns, pl.Series(DAMAGED, damaged, pl.Boolean)])


def fetched(connection: Connection, sql: str, values: Sequence[Any] = ()) -> list[Any]:
    """Return what a query of the program's own gives, with ``{}`` for each value."""
    mark = "?" if connection.dialect.paramstyle == "qmark" else "%s"
    cursor = connection.connection.cursor()
    try:
        cursor.execute(sql.replace("{}", mark), tuple(values))
        return list(cursor.fetchall())
    finally:
        cursor.close()


def _selected(column: Column[Any], as_bytes: bool) -> str:
    if as_bytes and isinstance(column.type, Text):
        return f'CAST("{column.name}" AS BLOB)'
    return f'"{column.name}"'


def _column(column: Column[Any], values: list[Any], damaged: list[bool]) -> pl.Series:
    """Return a column's values; what it cannot hold is left out and its row marked."""
    match column.type:
        case Text():
            return _texts(column.name, values, damaged)
        case LargeBinary():
            return _typed(column.name, values, pl.Binary(), bytes, damaged)
        case Double():
            return _typed(column.name, values, pl.Float64(), float, damaged)
    return _typed(column.name, values, pl.Int64(), int, damaged)


def _texts(name: str, values: list[Any], damaged: list[bool]) -> pl.Series:
    written = _typed(name, values, pl.Binary(), bytes, damaged) if _has_bytes(values) else None
    if written is None:
        return _typed(name, values, pl.String(), str, damaged)
    try:
        return written.cast(pl.String)
    except pl.exceptions.ComputeError:
        return pl.Series(name, [_text(v, row, damaged) for row, v in enumerate(written)], pl.String)


def _text(value: bytes | None, row: int, damaged: list[bool]) -> str | None:
    try:
        return None if value is None else value.decode()
    except UnicodeDecodeError:
        damaged[row] = True
        return None


def _has_bytes(values: list[Any]) -> bool:
    return any(isinstance(value, bytes) for value in values)


def _typed(
    name: str, values: list[Any], dtype: pl.DataType, python: type, damaged: list[bool]
) -> pl.Series:
    try:
        return pl.Series(name, values, dtype)
    except (TypeError, OverflowError, pl.exceptions.PolarsError):
        pass  # something in it is of another type
    for row, value in enumerate(values):
        if value is not None and not isinstance(value, python):
            values[row], damaged[row] = None, True
    return pl.Series(name, values, dtype)
