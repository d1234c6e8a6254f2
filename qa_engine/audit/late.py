"""Late entries: records that came into the book long after what they tell of.

A record that tells of what happened before the book was begun could not come in on time, and the
book does not know when it was written down: whether it came late cannot be told.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

import polars as pl

from qa_engine.audit.scope import Scope
from qa_engine.book.preparing import ENTERED_AT
from qa_engine.register import Register

LATE_AFTER = timedelta(hours=48)
"""From when on an entry is told as late: common practice, no published source."""

INSTANT = pl.Datetime("us", "UTC")
SCHEMA: dict[str, pl.DataType] = {
    "record": pl.String(),
    "kind": pl.String(),
    "van": pl.String(),
    "tank": pl.String(),
    "by": pl.String(),
    "at": INSTANT,
    "entered_at": INSTANT,
    "delay_h": pl.Float64(),
}
"""The columns of late entries; ``by`` did the work, ``delay_h`` is the time to the entry [h]."""


@dataclass(frozen=True)
class LateEntries:
    """How the records of a period came in.

    Attributes:
        late: those that came in late, as ``SCHEMA``, the latest first.
        records: how many records there are.
        unknown: of how many it cannot be told whether they came in late.
    """

    late: pl.DataFrame
    records: int
    unknown: int


def late_entries(
    frames: Mapping[str, pl.DataFrame],
    scope: Scope,
    register: Register,
    ends: tuple[datetime, datetime],
) -> LateEntries:
    """Return how the records of a scope and period came in.

    Args:
        frames: records by kind with ``entered_at``, as a book gives them.
        scope: where the records are from; rule sets play no part.
        register: where things were when.
        ends: the first instant of the period and the first one after it.
    """
    first, after = ends
    found = [pl.DataFrame(schema=SCHEMA)]
    for kind, frame in frames.items():
        some = frame.filter(pl.col("at").is_between(first, after, closed="left"))
        found.append(_timed(kind, some.filter(scope.holds(some, register))))
    timed = pl.concat(found)
    late = timed.filter(pl.col("delay_h") > LATE_AFTER / timedelta(hours=1))
    return LateEntries(
        late.sort("delay_h", "record", descending=[True, False]),
        timed.height,
        timed[ENTERED_AT].null_count(),
    )


def _timed(kind: str, records: pl.DataFrame) -> pl.DataFrame:
    lacking = [name for name in ("van", "tank", "by", ENTERED_AT) if name not in records.columns]
    frame = records.with_columns(pl.lit(None, SCHEMA[name]).alias(name) for name in lacking)
    hours = (pl.col(ENTERED_AT) - pl.col("at")).dt.total_microseconds() / 3.6e9
    return frame.with_columns(kind=pl.lit(kind), delay_h=hours).select(*SCHEMA)
