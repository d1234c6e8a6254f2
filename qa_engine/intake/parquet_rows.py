"""Rows of Parquet files, whose columns have types already."""

from collections.abc import Iterator
from typing import BinaryIO

import polars as pl

from qa_engine.errors import IntakeError
from qa_engine.fields import Day, Identifier, Instant, Quantity, RecordField, Text, YesNo
from qa_engine.intake.batch import LINE, Batch
from qa_engine.intake.heads import read_record_heads, units_of
from qa_engine.records import RECORD_FIELDS

ROWS_PER_SLICE = 500_000
"""How many rows are in memory as the file has them: a column for every field of every kind."""

_WORDS_OF_ANY_SORT = Text()
_WORDS = (pl.String, pl.Categorical, pl.Enum)

BROKEN = (pl.exceptions.PolarsError, pl.exceptions.PanicException, OSError)
"""What reading a broken Parquet file may raise."""


def parquet_batches(name: str, stream: BinaryIO) -> Iterator[Batch]:
    """Yield the rows of a Parquet file of records; lines are counted from 1.

    Numbers, days, instants and booleans are taken as they are, words through the same door as
    the cells of a CSV file.

    Raises:
        IntakeError: the file is not Parquet, a column is unknown or of a type its field cannot
            be made from.
    """
    try:
        yield from _slices(name, pl.scan_parquet(stream))
    except BROKEN as error:
        raise not_parquet(name, error) from None


def not_parquet(name: str, error: BaseException) -> IntakeError:
    """Return the error for a Parquet file that cannot be read."""
    what = "its pages are broken" if isinstance(error, pl.exceptions.PanicException) else error
    return IntakeError(f"{name}: this is not a Parquet file: {what}")


def _slices(name: str, table: pl.LazyFrame) -> Iterator[Batch]:
    types = table.collect_schema()
    heads = read_record_heads(name, types.names())
    columns = [
        pl.col(written)
        .cast(_wanted(name, written, dtype, RECORD_FIELDS.get(head.name, _WORDS_OF_ANY_SORT)))
        .alias(head.name)
        for (written, dtype), head in zip(types.items(), heads, strict=True)
    ]
    rows = table.select(pl.len()).collect().item()
    for start in range(0, rows, ROWS_PER_SLICE):
        cells = table.slice(start, ROWS_PER_SLICE).select(columns).collect()
        yield Batch(cells.with_row_index(LINE, start + 1), units_of(heads))


def _wanted(name: str, written: str, dtype: pl.DataType, field: RecordField) -> pl.DataType:
    wanted = _taken_as(dtype, field)
    if wanted is None:
        raise IntakeError(
            f"{name}: the column '{written}' is of type {dtype}; expected {field.expected}"
        )
    return wanted


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
