"""Facts about how a record came in: how long after it happened it was entered.

A record book knows when it took a record in; a file does not say, so there it is unknown.
"""

from datetime import timedelta

import polars as pl

from qa_engine.facts.fact import EVENT_SUBJECTS, Fact, FactGroup
from qa_engine.facts.past import Past

ENTERED_AT = "entered_at"
"""The column that a record book adds to the records it gives."""

ENTERED_AFTER = Fact(
    "entered_after",
    "number",
    "time from when it happened until it was entered in the record book; unknown for files",
    "h",
)


def _group(kind: str) -> FactGroup:
    def find(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
        records = past.history.frames.get(kind)
        if records is None or ENTERED_AT not in records.columns:
            return pl.select(
                entered_after=pl.repeat(None, subjects.height, dtype=pl.Float64),
                evidence=pl.repeat(None, subjects.height, dtype=pl.String),
            )
        entered = subjects.select("record", "at").join(
            records.select("record", ENTERED_AT), on="record", how="left", maintain_order="left"
        )
        after = (pl.col(ENTERED_AT) - pl.col("at")) / timedelta(hours=1)
        return entered.select(after.alias("entered_after"), evidence="record")

    return FactGroup((kind,), (ENTERED_AFTER,), find, reads=())


ENTRY_FACTS = tuple(_group(kind) for kind in EVENT_SUBJECTS)
