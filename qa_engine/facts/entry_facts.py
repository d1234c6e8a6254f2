"""Facts about how a record came in: how long after it happened it was entered.

A record book knows when it took a record in; a file does not say, so there it is unknown. So is it
for what happened before the book was begun: it could not be entered in time.
"""

import polars as pl

from qa_engine.facts.fact import EVENT_SUBJECTS, Fact, FactGroup
from qa_engine.facts.past import Past

MICROSECONDS_PER_H = 3.6e9
ENTERED_AT = "entered_at"
"""The column that a record book adds to the records it gives."""

ENTERED_AFTER = Fact(
    "entered_after",
    "number",
    "time from when it happened until it was entered in the record book; unknown for files, and "
    "for what happened before the book was begun",
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
        # In numpy, since polars divides a single row another way than many.
        after = (entered[ENTERED_AT] - entered["at"]).dt.total_microseconds().cast(pl.Float64)
        hours = after.to_numpy() / MICROSECONDS_PER_H
        return entered.select(
            pl.Series("entered_after", hours, nan_to_null=True), evidence="record"
        )

    return FactGroup((kind,), (ENTERED_AFTER,), find, reads=())


ENTRY_FACTS = tuple(_group(kind) for kind in EVENT_SUBJECTS)
