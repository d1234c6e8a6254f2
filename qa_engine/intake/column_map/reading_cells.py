"""Turns the cells of mapped columns into what our fields take."""

from collections.abc import Sequence

import polars as pl

from qa_engine.fields import Day, Instant, Quantity, RecordField, Word, YesNo
from qa_engine.intake.column_map.column_map import DAY, TIME, Column, MappedTable
from qa_engine.intake.column_map.distinct import Reading, read_distinct
from qa_engine.intake.column_map.written_numbers import number_wanted, numbers_read
from qa_engine.intake.column_map.written_times import (
    day_wanted,
    days_read,
    joined,
    moment_wanted,
    moments,
)
from qa_engine.intake.grids.grid import BLANKS
from qa_engine.intake.workbook import TYPED
from qa_engine.records import RECORD_FIELDS

DITTO = ('"', "''", "\N{DOUBLE PRIME}", "\N{RIGHT DOUBLE QUOTATION MARK}", "ditto", "dito", "do.")
"""Signs for "the same as above", taken where a column carries on."""


def as_written(cells: pl.Series, column: Column, nothing: Sequence[str]) -> pl.Series:
    """Return a column's cells without blanks around them; those that say nothing are empty."""
    silent = [word.lower() for word in nothing]
    if column.carries_on:
        silent += DITTO

    def tidied(cell: pl.Expr) -> pl.Expr:
        cell = cell.str.replace_all("[\N{NO-BREAK SPACE}\N{NARROW NO-BREAK SPACE}]", " ")
        cell = cell.str.strip_chars(BLANKS)
        return pl.when(~cell.str.to_lowercase().is_in(silent)).then(cell) if silent else cell

    return read_distinct(cells, tidied)


def cells_read(
    table: MappedTable, field: str, written: Sequence[tuple[Column, pl.Series]]
) -> pl.Series:
    """Return the cells of a field, as our schemas take them.

    Args:
        table: what the map says.
        field: the field.
        written: the columns that fill it, with their cells.
    """
    first, cells = written[0]
    parts = {column.part: one for column, one in written}
    if {DAY, TIME} <= parts.keys():
        return joined(parts[DAY], parts[TIME], _order(written), table.clock).alias(field)
    if isinstance(RECORD_FIELDS[field], Instant):
        return moments(cells, first.date_order, table.clock).alias(field)
    reading = _reading(RECORD_FIELDS[field], first)
    return read_distinct(cells, reading).alias(field)


def _order(written: Sequence[tuple[Column, pl.Series]]) -> str:
    return next((column.date_order for column, _ in written if column.part == DAY), "")


def _reading(field: RecordField, column: Column) -> Reading:
    if isinstance(field, Quantity):
        return lambda cell: numbers_read(_translated(cell, column), column.decimal)
    if isinstance(field, Day):
        return lambda cell: days_read(cell, column.date_order)
    return lambda cell: _said(field, column, cell)


def _said(field: RecordField, column: Column, cell: pl.Expr) -> pl.Expr:
    cell = _translated(cell.str.strip_prefix(TYPED), column)
    if isinstance(field, Word):
        own = {word.lower(): word for word in field.words}
        return cell.str.to_lowercase().replace_strict(list(own), list(own.values()), default=cell)
    return cell


def _translated(cell: pl.Expr, column: Column) -> pl.Expr:
    if not column.words:
        return cell
    theirs, ours = list(column.words), list(column.words.values())
    return (
        cell.str.strip_prefix(TYPED).str.to_lowercase().replace_strict(theirs, ours, default=cell)
    )


def wanted(column: Column, table: MappedTable) -> str:
    """Return what would have done where a cell of a column could not be read."""
    field = RECORD_FIELDS[column.field]
    if isinstance(field, Quantity):
        return f"{field.expected}, {number_wanted(column.decimal)}"
    if isinstance(field, Instant):
        clock = "" if table.clock else " (or 'clock:' in the map for rows without one)"
        return moment_wanted(column.date_order) + clock
    if isinstance(field, Day):
        return day_wanted(column.date_order)
    if isinstance(field, YesNo | Word):
        known = ", ".join(f"'{word}'" for word in column.words)
        return field.expected + (f" (the map translates {known})" if known else "")
    return field.expected
