"""Rows of the database and columns of polars, turned into one another in bulk."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import repeat
from typing import Any

import polars as pl
from sqlalchemy import Connection, Dialect, Select, Table

ROWS_AT_ONCE = 50_000
COPIED_FROM = 500
"""From so many rows on, PostgreSQL takes them by COPY, which is several times faster."""

_STORED: dict[pl.DataType, pl.DataType] = {
    pl.Datetime("us", "UTC"): pl.Int64(),
    pl.Date(): pl.Int32(),
    pl.Boolean(): pl.Int8(),
}
"""How values are kept that are no numbers or words."""

Column = pl.Series | Sequence[Any] | None
"""Values of a column, row for row, or None for a column without any."""


def insert(connection: Connection, table: Table, columns: Mapping[str, Column]) -> None:
    """Insert rows given as columns; a column that is not given has no values.

    Args:
        connection: a write transaction.
        table: where to.
        columns: values by name, at least one of them a series or sequence.
    """
    height = next(len(values) for values in columns.values() if values is not None)
    parts = [columns.get(column.name) for column in table.columns]
    copied = connection.dialect.name == "postgresql" and height >= COPIED_FROM
    for start in range(0, height, ROWS_AT_ONCE):
        end = min(start + ROWS_AT_ONCE, height)
        lists = [_listed(part, start, end) for part in parts]
        rows = list(zip(*lists, strict=True))
        (_copy if copied else _execute)(connection, table, rows)


def _listed(values: Column, start: int, end: int) -> Sequence[Any]:
    if values is None:
        return list(repeat(None, end - start))
    part = values[start:end]
    return stored(part).to_list() if isinstance(part, pl.Series) else part


def stored(values: pl.Series) -> pl.Series:
    """Return a column as the database keeps it: instants, days and yes/no as whole numbers."""
    kept = _STORED.get(values.dtype)
    return values if kept is None else values.cast(kept)


def _execute(connection: Connection, table: Table, rows: list[tuple[Any, ...]]) -> None:
    mark = "?" if connection.dialect.paramstyle == "qmark" else "%s"
    names, marks = _names(table), ", ".join([mark] * len(table.columns))
    sql = f'INSERT INTO "{table.name}" ({names}) VALUES ({marks})'  # names are the schema's own
    connection.exec_driver_sql(sql, rows)


def _copy(connection: Connection, table: Table, rows: list[tuple[Any, ...]]) -> None:
    cursor = connection.connection.cursor()
    with cursor.copy(f'COPY "{table.name}" ({_names(table)}) FROM STDIN') as copy:
        for row in rows:
            copy.write_row(row)


def _names(table: Table) -> str:
    return ", ".join(f'"{column.name}"' for column in table.columns)


@dataclass(frozen=True)
class Prepared:
    """A query as the driver takes it, so that it need not be put together each time.

    Attributes:
        text: the SQL.
        names: the parameters in the order of their marks; None if the driver takes them by name.
        given: the values that the query holds itself.
    """

    text: str
    names: tuple[str, ...] | None
    given: Mapping[str, Any]


def prepare(query: Select[Any], dialect: Dialect) -> Prepared:
    """Return a query as the driver takes it."""
    options = {"render_postcompile": True}
    compiled = query.compile(dialect=dialect, compile_kwargs=options)
    names = None if compiled.positiontup is None else tuple(compiled.positiontup)
    return Prepared(compiled.string, names, compiled.construct_params())


def fetch(
    connection: Connection,
    query: Select[Any] | Prepared,
    schema: Mapping[str, pl.DataType],
    values: Mapping[str, Any] | None = None,
) -> pl.DataFrame:
    """Return what a query gives as a frame of declared types.

    Args:
        connection: any transaction.
        query: gives a column per name of the schema, in its order.
        schema: the types, as polars has them.
        values: those of the query's parameters.
    """
    asked = query if isinstance(query, Prepared) else prepare(query, connection.dialect)
    batches = _batches(connection, asked, {**asked.given, **(values or {})})
    parts = [_framed(rows, schema) for rows in batches]
    return pl.concat(parts) if parts else pl.DataFrame(schema=schema)


def _batches(
    connection: Connection, asked: Prepared, values: Mapping[str, Any]
) -> Iterator[list[Any]]:
    """Yield rows as the driver gives them; SQLAlchemy's own rows would cost twice as much.

    The rows come through the driver that also writes: a second copy of SQLite in one process
    would let go of the locks that the first one holds.
    """
    ordered = values if asked.names is None else [values[name] for name in asked.names]
    cursor = connection.connection.cursor()
    try:
        cursor.execute(asked.text, ordered)
        while rows := cursor.fetchmany(ROWS_AT_ONCE):
            yield list(rows)
    finally:
        cursor.close()


def _framed(rows: list[Any], schema: Mapping[str, pl.DataType]) -> pl.DataFrame:
    columns = zip(*rows, strict=True)
    return pl.DataFrame(
        [
            pl.Series(name, values, _STORED.get(dtype, dtype)).cast(dtype)
            for (name, dtype), values in zip(schema.items(), columns, strict=True)
        ]
    )
