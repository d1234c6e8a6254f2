"""Records as tables: what a finding rests on, kind by kind."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime

import polars as pl
from markupsafe import Markup, escape

from qa_engine.book.lookout.kept import Kept
from qa_engine.fields import Quantity, RecordField
from qa_engine.records import COMMON, KINDS
from qa_engine.web.shown import amount, day, figure, when

FIRST = ("record", "at", "van", "tank", "by")
LAST = ("note",)
MOST_ROWS = 50
COUNTED = ("1", "count")
"""Units that stand for no more than the number."""


@dataclass(frozen=True)
class Table:
    """The records of one kind: columns that hold anything, and a row of texts for each record.

    ``more`` counts the records that are not shown.
    """

    kind: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    more: int = 0


def tables_of(groups: Mapping[str, Iterable[str]], kept: Kept) -> dict[str, list[Table]]:
    """Return tables of records for each group of record ids.

    Args:
        groups: record ids by what they are to the finding.
        kept: the records.
    """
    frames = kept.named(record for records in groups.values() for record in records)
    return {name: list(_tables(frames, set(records))) for name, records in groups.items()}


def _found(frames: Mapping[str, pl.DataFrame], wanted: set[str]) -> dict[str, pl.DataFrame]:
    mine = pl.col("record").is_in(sorted(wanted))
    found = {kind: frame.filter(mine) for kind, frame in frames.items()}
    return {kind: frame for kind, frame in found.items() if frame.height}


def _tables(frames: Mapping[str, pl.DataFrame], wanted: set[str]) -> Iterator[Table]:
    for kind, frame in _found(frames, wanted).items():
        own = KINDS[kind].own_fields
        named = [*FIRST, *(name for name in own if name not in COMMON), *LAST]
        columns = [n for n in named if n in frame.columns and frame[n].null_count() < frame.height]
        rows = frame.sort("at", "record").select(columns).rows()
        told = tuple(
            tuple(told_as(value, own.get(name)) for name, value in zip(columns, row, strict=True))
            for row in rows[:MOST_ROWS]
        )
        yield Table(kind, tuple(columns), told, len(rows) - len(told))


def told_as(value: object, field: RecordField | None) -> str | Markup:
    """Return the value of a field for reading, in the reader's units."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        unit = field.unit if isinstance(field, Quantity) else "1"
        return figure(value) if unit in COUNTED else amount(value, unit)
    if isinstance(value, datetime):
        return when(value)
    return day(value) if isinstance(value, date) else escape(value)
