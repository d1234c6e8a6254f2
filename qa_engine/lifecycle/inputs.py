"""What a report rests on: how many records of each kind were read, by item."""

from collections.abc import Iterable, Mapping
from datetime import datetime

import polars as pl

from qa_engine.records import KINDS, TANK_KINDS

INPUTS: dict[str, pl.DataType] = {"kind": pl.String(), "item": pl.String(), "count": pl.Int64()}
NO_INPUTS = pl.DataFrame(schema=INPUTS)


def inputs_of(
    frames: Mapping[str, pl.DataFrame], as_of: datetime, known: pl.DataFrame = NO_INPUTS
) -> pl.DataFrame:
    """Return how many records up to an instant there are of each kind about each item.

    Args:
        frames: the records by kind.
        as_of: the instant.
        known: what an earlier report rests on. The greater count is kept, so that records which
            were missing once are asked for until they or later ones are there.
    """
    counts = [
        frame.filter(pl.col("at") <= as_of)
        .group_by(pl.col(KINDS[kind].item).alias("item"))
        .agg(pl.len().cast(pl.Int64).alias("count"))
        .select(pl.lit(kind).alias("kind"), "item", "count")
        for kind, frame in frames.items()
    ]
    everything = pl.concat([known, *counts])
    return everything.group_by("kind", "item").agg(pl.col("count").max()).sort("kind", "item")


def unread(findings: pl.DataFrame, wanted: pl.DataFrame, now: pl.DataFrame) -> pl.Series:
    """Return for each finding which of its inputs were read less of than before; null if none.

    A tank's verdicts rest on the records of that tank and on those that belong to no tank; any
    other verdict may rest on all records.

    Args:
        findings: has ``tank`` and ``subject_kind``.
        wanted: what the earlier report rests on.
        now: what is there now, up to the instant of the earlier report.
    """
    both = wanted.join(now, on=["kind", "item"], how="left", suffix=" now")
    lacking = both.with_columns(pl.col("count now").fill_null(0)).filter(
        pl.col("count now") < pl.col("count")
    )
    said = {tank: _said(lacking, tank) for tank in findings["tank"].unique()}
    return pl.Series("unread", [said[tank] for tank in findings["tank"]], pl.String)


def _said(lacking: pl.DataFrame, tank: str | None) -> str | None:
    if tank is not None:
        of_tanks = pl.col("kind").is_in(TANK_KINDS)
        lacking = lacking.filter(~of_tanks | (pl.col("item") == tank))
    if lacking.is_empty():
        return None
    return f"fewer records were read than it rests on: {', '.join(_shortfalls(lacking))}"


def _shortfalls(lacking: pl.DataFrame) -> Iterable[str]:
    sums = lacking.group_by("kind").agg(pl.col("count", "count now").sum()).sort("kind")
    for kind, before, now in sums.rows():
        yield f"{kind} {now:,} of {before:,}"
