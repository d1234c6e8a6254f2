"""Corrections: entries that took the place of earlier ones, with what changed, by whom and why."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

import polars as pl
from sqlalchemy import Connection, select

from qa_engine.audit.scope import Scope
from qa_engine.book import Book
from qa_engine.book.known import known_at
from qa_engine.book.reading import TYPES
from qa_engine.book.rows import fetch
from qa_engine.book.schema import RECORD_TABLES, entries, submissions
from qa_engine.records import KINDS
from qa_engine.register import Register

INSTANT = pl.Datetime("us", "UTC")
SCHEMA: dict[str, pl.DataType] = {
    "entry": pl.Int64(),
    "supersedes": pl.Int64(),
    "kind": pl.String(),
    "id": pl.String(),
    "field": pl.String(),
    "before": pl.String(),
    "after": pl.String(),
    "entered_at": INSTANT,
    "entered_by": pl.String(),
    "reason": pl.String(),
    "source": pl.String(),
}
"""The columns of corrections, a row per field that changed; values as text in the record's own
unit, instants in UTC. What is no record has no field: the whole entry was replaced."""

REPLACED = ("book", "register", "rule_set", "permission", "attachment")
"""Kinds of entry that are no records and bear on verdicts; notes and requests grow by design."""

_TOLD = {n: SCHEMA[n] for n in SCHEMA if n not in ("field", "before", "after")}


@dataclass(frozen=True)
class Span:
    """Where corrections are looked for.

    Attributes:
        scope: the places; rule sets play no part.
        register: where things were when.
        first, after: the first instant of the period and the first one after it.
    """

    scope: Scope
    register: Register
    first: datetime
    after: datetime

    def holds(self, instant: str) -> pl.Expr:
        """Return whether an instant lies in the period."""
        return pl.col(instant).is_between(self.first, self.after, closed="left")


def corrections_in(book: Book, span: Span, as_of: datetime) -> pl.DataFrame:
    """Return the corrections that concern a scope and period, as ``SCHEMA``, in their order.

    One does if it was entered in the period, or the record tells of an instant in it, before the
    correction or after. What is no record belongs to every scope, in the period of its entry.

    Args:
        book: the record book.
        span: the scope and the period.
        as_of: what the book knew at this instant.
    """
    with book.reading() as held:
        told = _superseding(held, as_of)
        found = [pl.DataFrame(schema=SCHEMA), _replaced(told, span)]
        found += [
            _corrected(held, kind, told.filter(kind=kind), span)
            for kind in KINDS
            if kind in told["kind"]
        ]
    return pl.concat(found).sort("entry", "field", nulls_last=True)


def _superseding(held: Connection, as_of: datetime) -> pl.DataFrame:
    known = known_at(held, as_of)
    query = (
        select(
            entries.c.entry,
            entries.c.supersedes,
            entries.c.kind,
            entries.c.id,
            submissions.c.entered_at,
            submissions.c.entered_by,
            entries.c.reason,
            submissions.c.source,
        )
        .join(submissions, submissions.c.submission == entries.c.submission)
        .where(entries.c.supersedes.is_not(None), *known.extent.holds(entries.c.entry))
    )
    return fetch(held, query, _TOLD, known.values)


def _replaced(told: pl.DataFrame, span: Span) -> pl.DataFrame:
    mine = told.filter(pl.col("kind").is_in(REPLACED) & span.holds("entered_at"))
    nothing = [pl.lit(None, pl.String).alias(name) for name in ("field", "before", "after")]
    return mine.with_columns(nothing).select(*SCHEMA)


def _corrected(held: Connection, kind: str, told: pl.DataFrame, span: Span) -> pl.DataFrame:
    versions = _versions(held, kind)
    old = told.select(entry="supersedes").join(
        versions, on="entry", how="left", maintain_order="left"
    )
    new = told.select("entry").join(versions, on="entry", how="left", maintain_order="left")
    mine = span.scope.holds(old, span.register) | span.scope.holds(new, span.register)
    dated = [frame.select(span.holds("at").fill_null(False))["at"] for frame in (old, new)]
    timely = told.select(span.holds("entered_at"))["entered_at"]
    kept = mine & (timely | dated[0] | dated[1])
    changed = (_change(told, old[name], new[name], kept) for name in versions.columns[1:])
    return pl.concat([pl.DataFrame(schema=SCHEMA), *changed])


def _change(told: pl.DataFrame, old: pl.Series, new: pl.Series, kept: pl.Series) -> pl.DataFrame:
    """Return where a field changed, among the corrections that are kept."""
    changed = told.with_columns(
        pl.lit(old.name).alias("field"), _as_text(old).alias("before"), _as_text(new).alias("after")
    )
    return changed.filter(kept & old.ne_missing(new)).select(*SCHEMA)


def _versions(held: Connection, kind: str) -> pl.DataFrame:
    """Return every version of the records of a kind that were corrected."""
    table, names = RECORD_TABLES[kind], RECORD_TABLES[kind].columns.keys()
    superseding = entries.c.supersedes.is_not(None) & (entries.c.kind == kind)
    either = table.c.entry.in_(select(entries.c.entry).where(superseding)) | table.c.entry.in_(
        select(entries.c.supersedes).where(superseding)
    )
    query: Any = select(*table.columns).where(either)
    return fetch(held, query, {name: TYPES[name] for name in names})


def _as_text(values: pl.Series) -> pl.Series:
    if values.dtype == INSTANT:
        return values.dt.strftime("%Y-%m-%dT%H:%M:%S%.fZ")
    if values.dtype == pl.Boolean():
        return values.replace_strict({True: "yes", False: "no"}, return_dtype=pl.String)
    return values.cast(pl.String).str.replace(r"^(-?\d+)\.0$", "$1")
