"""What a book says: the records as they are known now, or were known at an instant."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from typing import NamedTuple

import polars as pl
from sqlalchemy import Connection, Dialect, Table, bindparam, func, or_, select

from qa_engine.book.known import Extent, Known, known_at
from qa_engine.book.preparing import ENTERED_AT
from qa_engine.book.rows import Prepared, fetch, prepare
from qa_engine.book.schema import HAS_BODY, INT, RECORD_TABLES, TEXT, bodies, entries, submissions
from qa_engine.records import KINDS, RECORD_FIELDS

Items = Collection[str] | Mapping[str, Collection[str]]
"""What records are wanted about: ids of what a kind is about (a tank, meter, base, source, van or
item), or ids by column, such as ``{"tank": [...], "van": [...]}``, of which any may match."""

MANY_ITEMS = 4_096
ORIGIN = "the first entry"
"""A name that no column of a record can have, since it holds a space."""

INSTANTS = pl.Datetime("us", "UTC")
TYPES = {name: field.dtype for name, field in RECORD_FIELDS.items()} | {"entry": pl.Int64()}


def records(
    connection: Connection,
    *,
    at: datetime | None = None,
    items: Items | None = None,
    kinds: Iterable[str] | None = None,
    entered: bool = False,
    after: int = 0,
) -> dict[str, pl.DataFrame]:
    """Return records, a frame per kind that has any, typed and sorted as the intake gives them.

    Args:
        connection: a transaction.
        at: what the book knew at this instant; by default, all that it knows.
        items: what the records are about; by default, everything.
        kinds: the kinds wanted; by default, all.
        entered: whether to add ``entered_at``, when the book first took each record; null for
            what happened before the book was begun.
        after: the entry after which those wanted came in, new or as corrections.
    """
    known = known_at(connection, at)
    entering = _entering(connection, after) if entered else None
    wanted = KINDS if kinds is None else [kind for kind in KINDS if kind in set(kinds)]
    found: dict[str, pl.DataFrame] = {}
    for kind in wanted:
        frame = _of_kind(connection, kind, known, items, after)
        if frame.height:
            found[kind] = _finished(kind, frame, entering)
    return found


def _of_kind(
    connection: Connection, kind: str, known: Known, items: Items | None, after: int
) -> pl.DataFrame:
    about = _about(kind, items)
    table = RECORD_TABLES[kind]
    some = about is not None or after > 0
    names = tuple(table.columns.keys()) if some else _filled(connection, table)
    schema = {name: TYPES[name] for name in names}
    if about is not None and not about:
        return pl.DataFrame(schema=schema)
    few = max(map(len, (about or {}).values()), default=0) <= MANY_ITEMS
    lots = _in_lots(about) if about and few else {}
    shape = Shape(
        kind, names, tuple((n, len(ids)) for n, ids in lots.items()), known.extent, after > 0
    )
    values: dict[str, str | int] = {
        f"{n}_{i}": one for n, ids in lots.items() for i, one in enumerate(ids)
    }
    if after:
        values["after"] = after
    asked = prepared(shape, connection.dialect)
    frame = fetch(connection, asked, schema, {**values, **known.values})
    if about is None or few:
        return frame
    return frame.filter(pl.any_horizontal(pl.col(n).is_in(ids) for n, ids in about.items()))


def _about(kind: str, items: Items | None) -> dict[str, list[str]] | None:
    """Return the ids that are wanted by column of a kind; None for every record of it."""
    if items is None:
        return None
    by_column = items if isinstance(items, Mapping) else {KINDS[kind].item: items}
    fields = KINDS[kind].fields
    return {name: list(ids) for name, ids in by_column.items() if name in fields and ids}


def _in_lots(about: Mapping[str, list[str]]) -> dict[str, list[str]]:
    """Return ids, the last one said again up to a power of two, so that few queries differ."""
    return {
        name: ids + ids[-1:] * ((1 << (len(ids) - 1).bit_length()) - len(ids))
        for name, ids in about.items()
    }


@dataclass(frozen=True)
class Shape:
    """How a query for records looks: for one shape it is put together once.

    Attributes:
        kind: whose table it reads.
        columns: what it gives.
        about: how many ids it takes for each column that may match.
        extent: which entries count.
        after: whether only those after some entry do.
    """

    kind: str
    columns: tuple[str, ...]
    about: tuple[tuple[str, int], ...]
    extent: Extent
    after: bool = False


@lru_cache(maxsize=512)
def prepared(shape: Shape, dialect: Dialect) -> Prepared:
    """Return the query of a shape."""
    table = RECORD_TABLES[shape.kind]
    query = select(*(table.c[name] for name in shape.columns))
    query = query.where(*shape.extent.stands(table.c.entry))
    if shape.after:
        query = query.where(table.c.entry > bindparam("after", None, INT))
    matches = [
        table.c[name].in_([bindparam(f"{name}_{number}", None, TEXT) for number in range(count)])
        for name, count in shape.about
    ]
    return prepare(query.where(or_(*matches)) if matches else query, dialect)


def _filled(connection: Connection, table: Table) -> tuple[str, ...]:
    """Return the columns of a table that hold anything at all: reading them alone is faster."""
    counts = connection.execute(select(*(func.count(column) for column in table.columns))).one()
    found = zip(table.columns, counts, strict=True)
    return tuple(column.name for column, count in found if count or not column.nullable)


class _Entering(NamedTuple):
    """When records came in.

    Attributes:
        begun: when the book was begun. What happened before could not be entered in time, and
            whether it came late cannot be told.
        submitted: ``entry`` (the first of each submission, ascending) and ``entered_at``.
        corrected: ``entry`` and ``ORIGIN``, the record's first entry, of each correction.
    """

    begun: datetime
    submitted: pl.DataFrame
    corrected: pl.DataFrame


def _entering(connection: Connection, after: int) -> _Entering:
    """Return when records after an entry came in; a correction makes no late entry of a timely one.

    Of the records before that entry, those are there that were corrected after it.
    """
    submitted = select(submissions.c.first_entry, submissions.c.entered_at)
    first = entries.alias("first")
    origin = select(func.min(first.c.entry)).where(
        first.c.id == entries.c.id, first.c.kind.in_(KINDS)
    )
    corrected = select(entries.c.entry, origin.scalar_subquery()).where(
        entries.c.supersedes.is_not(None), entries.c.entry > after
    )
    number = pl.Int64()
    origins = fetch(connection, corrected, {"entry": number, ORIGIN: number})
    if after:
        began = select(entries.c.submission).where(entries.c.entry.in_(origins[ORIGIN].to_list()))
        wanted = submissions.c.first_entry > after
        submitted = submitted.where(wanted | submissions.c.submission.in_(began))
    begun = select(submissions.c.entered_at).where(submissions.c.first_entry == 1)
    return _Entering(
        fetch(connection, begun, {ENTERED_AT: INSTANTS}).item(),
        fetch(
            connection,
            submitted.order_by(submissions.c.first_entry),
            {ORIGIN: number, ENTERED_AT: INSTANTS},
        ),
        origins,
    )


def _finished(kind: str, frame: pl.DataFrame, entering: _Entering | None) -> pl.DataFrame:
    """Return records as the intake gives them, and when they first came in if that is known."""
    if entering is not None:
        frame = frame.join(entering.corrected, on="entry", how="left")
        frame = frame.with_columns(pl.col(ORIGIN).fill_null(pl.col("entry"))).sort(ORIGIN)
        frame = frame.join_asof(entering.submitted, on=ORIGIN)
        in_time = pl.col("at") >= entering.begun
        frame = frame.with_columns(pl.when(in_time).then(ENTERED_AT).alias(ENTERED_AT))
    held = frame.with_columns(pl.lit(kind).alias("kind"))
    names = [name for name in KINDS[kind].fields if name in held.columns]
    filled = [name for name in names if held[name].null_count() < held.height]
    entered = [] if entering is None else [ENTERED_AT]
    order = [KINDS[kind].item, "at", "record"]
    return held.select(*filled, *entered).sort(order)


def latest_bodies(connection: Connection, kind: str, at: datetime | None = None) -> dict[str, str]:
    """Return the canonical JSON of each entry of a kind that stands, by id, in their order."""
    known = known_at(connection, at)
    query = (
        select(entries.c.id, bodies.c.body)
        .join(bodies, bodies.c.entry == entries.c.entry)
        .where(HAS_BODY, entries.c.kind == kind, *known.extent.stands(entries.c.entry))
        .order_by(entries.c.entry)
    )
    return {row[0]: row[1] for row in connection.execute(query, known.values)}


def standing_entry(connection: Connection, kind: str, id_: str) -> tuple[int, str] | None:
    """Return number and body of the entry of a kind and id that stands."""
    query = (
        select(entries.c.entry, bodies.c.body)
        .join(bodies, bodies.c.entry == entries.c.entry)
        .where(entries.c.id == id_, entries.c.kind == kind)
        .order_by(entries.c.entry.desc())
        .limit(1)
    )
    row = connection.execute(query).first()
    return (row[0], row[1]) if row else None


def kinds_after(connection: Connection, after: int) -> frozenset[str]:
    """Return of what kinds the entries after an entry are."""
    query = select(entries.c.kind).where(entries.c.entry > after).distinct()
    return frozenset(connection.execute(query).scalars())
