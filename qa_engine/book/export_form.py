"""What an exported record book consists of.

A folder with ``book.json``, which says what the book is and which tree it makes; a folder per table
with its rows as Parquet, in parts that follow one another (``000001.parquet``, ...); and
``files`` with the bytes of attachments, each named by its SHA-256 in hexadecimal.
Instants, days and yes/no have the types of Parquet for them. Bodies are canonical JSON as text.
"""

from collections.abc import Mapping

import polars as pl
from sqlalchemy import Double, LargeBinary, Table, Text

from qa_engine.book import schema
from qa_engine.records import KINDS

FORM = "record book export 1"
ABOUT, FILES = "book.json", "files"

BY_ENTRY: tuple[Table, ...] = (
    schema.entries,
    *schema.RECORD_TABLES.values(),
    schema.bodies,
    schema.people,
    schema.attachments,
)
"""The tables that have rows about single entries."""

WHOLE: tuple[Table, ...] = (schema.refused,)
"""The other tables; what is not listed follows from the rest."""


def columns_of(table: Table) -> dict[str, pl.DataType]:
    """Return the columns of a table with the types that an export gives them."""
    fields = KINDS[table.name].fields if table.name in schema.RECORD_TABLES else {}
    return {
        column.name: fields[column.name].dtype if column.name in fields else _plain(column.type)
        for column in table.columns
    }


def _plain(kept: object) -> pl.DataType:
    match kept:
        case Text():
            return pl.String()
        case LargeBinary():
            return pl.Binary()
        case Double():
            return pl.Float64()
    return pl.Int64()


def submission_columns() -> Mapping[str, pl.DataType]:
    """Return the columns of ``submissions``, which in an export have their tree head's root."""
    return {**columns_of(schema.submissions), "root": pl.Binary()}
