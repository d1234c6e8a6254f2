"""Rows of Parquet files, whose columns have types already."""

from collections.abc import Iterator
from typing import BinaryIO

import polars as pl

from qa_engine.errors import IntakeError
from qa_engine.fields import Day, Identifier, Instant, Quantity, RecordField, YesNo
from qa_engine.intake.batch import LINE, Batch
from qa_engine.intake.heads import read_record_heads, units_of
from qa_engine.records import RECORD_FIELDS

ROWS_PER_SLICE = 1_000_000
_WORDS = (pl.String, pl.Categorical, pl.Enum)


def parquet_batches(name: str, stream: BinaryIO) -> Iterator[Batch]:
    """Yield the rows of a Parquet file of records; lines are counted from 1.

    Numbers, days, instants and booleans are taken as they are, words through the same door as
    the cells of a CSV file.

    Raises:
        IntakeError: the file is not Parquet, a column is unknown or of a type its field cannot
            be made from.
    """
    try:
        table = pl.read_parquet(stream)
    except (pl.exceptions.PolarsError, OSError) as error:
        raise IntakeError(f"{name}: this is not a Parquet file: {error}") from None
    heads = read_record_heads(name, table.columns)
    columns = [
        _column(name, column.alias(head.name), RECORD_FIELDS[head.name])
        for column, head in zip(table, heads, strict=True)
    ]
    cells = pl.DataFrame(columns).with_row_index(LINE, 1)
    for start in range(0, cells.height, ROWS_PER_SLICE):
        yield Batch(cells.slice(start, ROWS_PER_SLICE), units_of(heads))


def _column(name: str, column: pl.Series, field: RecordField) -> pl.Series:
    wanted = _taken_as(column.dtype, field)
    if wanted is None:
        raise IntakeError(
            f"{name}: the column '{column.name}' is of type {column.dtype}; "
            f"expected {field.expected}"
        )
    return column if column.dtype == wanted else column.cast(wanted)


def _taken_as(dtype: pl.DataType, field: RecordField) -> pl.DataType | None:
    """Return the type in which a column goes on, or nothing if the field cannot take it."""
    if isinstance(dtype, (*_WORDS, pl.Null)):
        return pl.String()
    if isinstance(field, Quantity):
        return pl.Float64() if dtype.is_numeric() else None
    if isinstance(field, Instant):
        zone = "UTC" if isinstance(dtype, pl.Datetime) and dtype.time_zone else None
        return pl.Datetime("us", zone) if isinstance(dtype, pl.Datetime) else None
    if isinstance(field, Day):
        return dtype if isinstance(dtype, pl.Date) else None
    if isinstance(field, YesNo):
        return dtype if isinstance(dtype, pl.Boolean) else None
    return pl.String() if isinstance(field, Identifier) and dtype.is_integer() else None
