"""Which records a failing run puts in doubt: what was rinsed, or read, since the last good one."""

import numpy as np
import polars as pl

from qa_engine.charges import charge_at
from qa_engine.conformity import DOES_NOT_CONFORM
from qa_engine.facts.past import Past
from qa_engine.history import latest
from qa_engine.register import BEGINNING
from qa_engine.runs import NOWHERE, Runs

RECORDS = pl.List(pl.String)
JUST_BEFORE = pl.duration(microseconds=1)


def records_in_doubt(
    kind: str, item: str, subjects: pl.DataFrame, runs: Runs, mine: np.ndarray, past: Past
) -> pl.Series:
    """Return for each run the records of a kind on the same item that it puts in doubt.

    They begin after the last subject of the same rule that conformed, and for tanks not before the
    resin charge; they end with the last member of the run. An undecided run puts nothing in doubt.

    Args:
        kind: the kind of record, such as ``rinse``.
        item: what they have in common with the subjects: ``tank`` or ``meter``.
        subjects: the judged subjects.
        runs: the runs among them.
        mine: which of the runs to answer for.
        past: where the records are found.
    """
    records = past.history.of(kind, item, "at", "record").drop_nulls(item)
    records = records.sort(item, "at", "record").with_row_index("place")
    spans = _spans(item, subjects, runs, mine, past)
    low, high = (
        latest(spans.select(item, at=edge), records, by=item, take=["place"])["place"]
        for edge in ("after", "until")
    )
    first = low.cast(pl.Int64).fill_null(NOWHERE) + 1
    starts = records[item].rle_id()
    ids, things = records["record"].to_list(), starts.to_list()
    named = [
        [ids[n] for n in range(begin, end + 1) if things[n] == things[end]]
        if fails and end is not None
        else []
        for begin, end, fails in zip(
            first, high, runs.outcome[mine] == DOES_NOT_CONFORM, strict=True
        )
    ]
    return pl.Series("affected", named, RECORDS)


def _spans(
    item: str, subjects: pl.DataFrame, runs: Runs, mine: np.ndarray, past: Past
) -> pl.DataFrame:
    """Return per run its item, the instant after which doubt begins, and where it ends."""
    last: pl.DataFrame = subjects[runs.last[mine]]
    good = runs.conformed_before[mine]
    conformed = pl.Series(subjects["at"][np.maximum(good, 0)]).zip_with(
        pl.Series(good != NOWHERE),
        pl.repeat(BEGINNING, len(mine), dtype=last["at"].dtype, eager=True),
    )
    spans = last.select(item, until="at").with_columns(after=conformed)
    if item != "tank":
        return spans
    begins = charge_at(last.select("tank", "at"), past.charges)["begins"].fill_null(BEGINNING)
    return spans.with_columns(after=pl.max_horizontal("after", begins - JUST_BEFORE))
