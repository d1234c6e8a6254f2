"""What a book knew at an instant, as conditions of queries."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, Connection, bindparam, func, select

from qa_engine.book.canonical_json import microseconds
from qa_engine.book.schema import INT, entries, submissions


@dataclass(frozen=True)
class Extent:
    """Which entries of a book count, as far as queries differ by it.

    Attributes:
        limited: whether only those up to a last one do.
        gaps: whether some before the last one came in later still, since clocks differ.
    """

    limited: bool = False
    gaps: bool = False

    def holds(self, entry: ColumnElement[int]) -> list[ColumnElement[bool]]:
        """Return the conditions under which an entry was known."""
        if not self.limited:
            return []
        in_time = [entry <= bindparam("known_last", None, INT)]
        if not self.gaps:
            return in_time
        later = select(submissions.c.submission).where(
            submissions.c.entered_at > bindparam("known_at", None, INT)
        )
        unknown = select(entries.c.entry).where(entries.c.submission.in_(later))
        return [*in_time, entry.not_in(unknown)]

    def stands(self, entry: ColumnElement[int]) -> list[ColumnElement[bool]]:
        """Return the conditions under which an entry was known and nothing superseded it."""
        correction = entries.alias("correction")
        superseded = select(correction.c.entry).where(
            correction.c.supersedes == entry, *self.holds(correction.c.entry)
        )
        return [*self.holds(entry), ~superseded.exists()]


@dataclass(frozen=True)
class Known:
    """What a book knew at an instant: which entries count, and the values of the conditions."""

    extent: Extent
    values: dict[str, Any]


EVERYTHING = Known(Extent(), {})


def known_at(connection: Connection, at: datetime | None) -> Known:
    """Return what a book knew at an instant, inclusive; without one, all that it knows."""
    if at is None:
        return EVERYTHING
    moment = microseconds(at)
    ends = submissions.c.first_entry + submissions.c.entries - 1
    in_time = submissions.c.entered_at <= moment
    last = connection.execute(select(func.max(ends)).where(in_time)).scalar() or 0
    later = select(func.min(submissions.c.first_entry)).where(~in_time)
    first_later = connection.execute(later).scalar()
    gaps = first_later is not None and first_later <= last
    return Known(Extent(limited=True, gaps=gaps), {"known_last": last, "known_at": moment})
