"""Refused rows kept with a book, so that they can be mended and handed in again."""

import json
from collections.abc import Iterator
from typing import Any

import polars as pl
from sqlalchemy import ColumnElement, Connection, delete, func, select

from qa_engine.book.rows import fetch, insert
from qa_engine.book.schema import entries, refused
from qa_engine.book.store import Book
from qa_engine.intake import REFUSED, Intake
from qa_engine.intake.heads import REFUSED_IN, REFUSED_LINE
from qa_engine.records import KINDS

KEPT = {**REFUSED, "key": pl.String(), "cells": pl.String()}
"""The columns of the frame of refused rows that a book keeps; ``cells`` is the row as JSON."""


def keep_refused(book: Book, key: str, intake: Intake) -> None:
    """Keep the rows that were refused, once for each key.

    Args:
        book: the record book.
        key: that of the submission which the other rows of the file came with.
        intake: what came of reading the file.
    """
    if intake.refused.is_empty():
        return
    with book.writing() as held:
        known = select(refused.c.refusal).where(refused.c.key == key).limit(1)
        if held.execute(known).first() is None:
            _write(held, key, intake)


def _write(held: Connection, key: str, intake: Intake) -> None:
    last = held.execute(select(func.max(refused.c.refusal))).scalar() or 0
    rows, count = _with_cells(intake), intake.refused.height
    numbers = pl.int_range(last + 1, last + 1 + count, eager=True)
    columns = {name: rows[name] for name in (*REFUSED, "cells")}
    insert(held, refused, {"refusal": numbers, "key": [key] * count, **columns})


def _with_cells(intake: Intake) -> pl.DataFrame:
    """Return each problem with the cells of its row as JSON, where they are known."""
    if intake.to_mend.is_empty():
        return intake.refused.with_columns(pl.lit(None, pl.String).alias("cells"))
    record = pl.col("record").cast(pl.String)
    places = intake.to_mend.select(REFUSED_IN, REFUSED_LINE, record)
    cells = pl.Series("cells", list(_as_json(intake.to_mend)), dtype=pl.String)
    told = places.with_columns(cells).unique(places.columns, keep="first")
    return intake.refused.join(
        told.with_columns(pl.col(REFUSED_LINE).cast(pl.Int64)),
        left_on=["source", "line", "record"],
        right_on=[REFUSED_IN, REFUSED_LINE, "record"],
        how="left",
        nulls_equal=True,
        maintain_order="left",
    )


def _as_json(rows: pl.DataFrame) -> Iterator[str]:
    for row in rows.drop(REFUSED_IN, REFUSED_LINE).iter_rows(named=True):
        filled: dict[str, Any] = {name: cell for name, cell in row.items() if cell is not None}
        yield json.dumps(filled, ensure_ascii=False, default=str)


def refused_rows(book: Book, *, whole: bool = False, first: int | None = None) -> pl.DataFrame:
    """Return the refused rows that the book keeps, a row per problem, in the order they came.

    Args:
        book: the record book.
        whole: whether also those whose record has come in since.
        first: how many problems at most; none: all.
    """
    query = select(*(refused.c[name] for name in KEPT)).order_by(refused.c.refusal).limit(first)
    with book.reading() as held:
        return fetch(held, query if whole else query.where(~_came_in()), KEPT)


def count_refused(book: Book) -> int:
    """Return how many refused rows the book keeps whose record has not come in since."""
    told = (refused.c.key, refused.c.source, refused.c.line, refused.c.record)
    rows = select(*told).where(~_came_in()).distinct()
    with book.reading() as held:
        return held.execute(select(func.count()).select_from(rows.subquery())).scalar_one()


def let_go(book: Book, key: str, source: str, line: int, record: str | None) -> None:
    """Keep a refused row no longer: it was mended, or is no record.

    Args:
        book: the record book.
        key: that of the submission which it came with.
        source: the file or sheet.
        line: its first line there.
        record: the id of its record, if it has one.
    """
    row = (refused.c.key == key) & (refused.c.source == source) & (refused.c.line == line)
    same = refused.c.record.is_(None) if record is None else refused.c.record == record
    with book.writing() as held:
        held.execute(delete(refused).where(row, same))


def _came_in() -> ColumnElement[bool]:
    """Tell in a query whether the record of a refused row has come in since."""
    record = select(entries.c.entry).where(entries.c.id == refused.c.record)
    return record.where(entries.c.kind.in_(KINDS)).exists()
