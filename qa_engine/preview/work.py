"""Work: the jobs that old and new editions call for, and which of them are the same job.

A rule may say which kind of record logs the work that settles a failure (``settled_by``). A run of
failures is one job, and it can only be settled by the next record of that kind on the same thing.
So runs that lie between the same two such records are one job, whichever rules they come from:
three rules that fail on one resin charge call for one resin change.
"""

from collections.abc import Iterable, Iterator

import numpy as np
import polars as pl

from qa_engine.conformity import DOES_NOT_CONFORM
from qa_engine.history import History, latest
from qa_engine.preview.both_sides import Outcomes, Verdicts
from qa_engine.records import KINDS
from qa_engine.runs import runs_of

INSTANT = pl.Datetime("us", "UTC")
SIDES = ("old", "new")

RUNS: dict[str, pl.DataType] = {
    "settled_by": pl.String(),
    "on": pl.String(),
    "van": pl.String(),
    "tank": pl.String(),
    "since": INSTANT,
    "until": INSTANT,
    "side": pl.String(),
}
"""A run of failures: the work it calls for, the thing to be worked on, and under which side."""

SCHEMA: dict[str, pl.DataType] = {
    "settled_by": pl.String(),
    "on": pl.String(),
    "van": pl.String(),
    "tank": pl.String(),
    "old": pl.Int64(),
    "new": pl.Int64(),
    "old_since": INSTANT,
    "new_since": INSTANT,
    "done": INSTANT,
}
"""Jobs that overlap: how many each side calls for, since when, and when they were seen to."""

_THING = ("settled_by", "on")


def failing_runs(verdicts: Verdicts) -> pl.DataFrame:
    """Return the runs of failures under both sides that call for work."""
    pair = verdicts.pair
    sides = ((pair.old, verdicts.old), (pair.new, verdicts.new))
    frames = [
        _runs(verdicts.subjects, outcome, rule.settled_by, side)
        for side, (rule, outcome) in zip(SIDES, sides, strict=True)
        if rule and rule.settled_by
    ]
    return pl.concat(frames) if frames else pl.DataFrame(schema=RUNS)


def _runs(subjects: pl.DataFrame, outcome: Outcomes, kind: str, side: str) -> pl.DataFrame:
    """Return the runs of failures on each thing that a kind of record is logged for."""
    column = KINDS[kind].item
    on = subjects.select(pl.coalesce(column, "item").alias("on"))
    ordered = subjects.select("van", "tank", "at", "record", "charge_number").hstack(on)
    order = ordered.select(pl.arg_sort_by("on", "at", "record")).to_series()
    ordered = ordered[order]
    thing = ordered["on"].rle_id().to_numpy().astype(np.int64)
    # New resin settles only what new resin was called for; any other failure goes on.
    charge = ordered["charge_number"].to_numpy() * (kind == "resin_change")
    runs = runs_of(outcome[order.to_numpy()], thing, charge, np.zeros(len(outcome), np.int8))
    fails = runs.outcome == DOES_NOT_CONFORM
    last: pl.DataFrame = ordered[runs.last[fails]]
    return last.select(
        pl.lit(kind).alias("settled_by"),
        "on",
        "van",
        "tank",
        ordered["at"][runs.first[fails]].alias("since"),
        pl.col("at").alias("until"),
        pl.lit(side).alias("side"),
    )


def jobs_of(runs: Iterable[pl.DataFrame], history: History) -> pl.DataFrame:
    """Return the jobs that runs of failures come to, by kind of work, thing and time."""
    together = pl.concat([pl.DataFrame(schema=RUNS), *runs])
    kinds = together.partition_by("settled_by", as_dict=True)
    frames = [_jobs(mine, history, str(kind)) for (kind,), mine in kinds.items()]
    jobs = pl.concat([pl.DataFrame(schema=SCHEMA), *frames])
    return jobs.sort("settled_by", "on", pl.coalesce("new_since", "old_since"), nulls_last=True)


def _jobs(runs: pl.DataFrame, history: History, kind: str) -> pl.DataFrame:
    logged = _logged(kind, history)
    placed = runs.with_columns(_before(runs, logged, end).alias(end[0]) for end in _ENDS)
    placed = placed.sort("on", "first", "last", "since", "side")
    placed = placed.with_columns(
        _begins("on", "side").alias("job"), _begins("on").cum_sum().over("on").alias("cluster")
    )
    jobs = placed.group_by("settled_by", "on", "cluster", maintain_order=True).agg(
        pl.col("van", "tank").last(), *_of_sides(), pl.col("last").max()
    )
    # What was logged while a failure went on did not settle it; the next one after it may have.
    settling = logged.select("on", last=pl.col("number") - 1, done="at")
    return jobs.join(settling, on=("on", "last"), how="left").select(*SCHEMA)


_ENDS = (("first", "since"), ("last", "until"))


def _logged(kind: str, history: History) -> pl.DataFrame:
    """Return the records of a kind, numbered from 1 for each thing."""
    item = KINDS[kind].item
    records = history.of(kind, item, "at", "record").rename({item: "on"})
    number = pl.int_range(1, pl.len() + 1, dtype=pl.Int64).over("on")
    return records.with_columns(number.alias("number"))


def _before(runs: pl.DataFrame, logged: pl.DataFrame, end: tuple[str, str]) -> pl.Series:
    """Return how many records of the kind there were on the thing by one end of each run."""
    asked = runs.select("on", at=end[1])
    return latest(asked, logged, by="on", take=["number"])["number"].fill_null(0)


def _begins(*within: str) -> pl.Expr:
    """Tell which runs overlap none before them, counted in records of the kind."""
    so_far = pl.col("last").cum_max().shift(1).over(within)
    return (pl.col("first") > so_far).fill_null(value=True)


def _of_sides() -> Iterator[pl.Expr]:
    for side in SIDES:
        mine = pl.col("side") == side
        yield (pl.col("job") & mine).sum().cast(pl.Int64).alias(side)
        yield pl.col("since").filter(mine).min().alias(f"{side}_since")
