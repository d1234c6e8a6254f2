"""Figures: how often changes and jobs come to pass, in all and of late."""

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import polars as pl

from qa_engine.register import BEGINNING, day_start

WINDOWS = {"in_all": None, "last_year": 365, "last_90_days": 90}
"""The spans that are counted, in days up to and including the day of the comparison."""

PLACE = ("van", "tank", "item")
RULE = ("rule_set", "rule", "grading", "subject_kind")
HOW = ("change", "was", "becomes")


def window_starts(as_of: datetime, zone: ZoneInfo) -> dict[str, datetime]:
    """Return the first instant of each window."""
    today = as_of.astimezone(zone).date()
    return {
        name: day_start(today - timedelta(days=days - 1), zone) if days else BEGINNING
        for name, days in WINDOWS.items()
    }


def changes_by_place(changes: pl.DataFrame, starts: dict[str, datetime]) -> pl.DataFrame:
    """Return how often each change happens to each rule, van and tank (or other item)."""
    counts = [(pl.col("at") >= start).sum().alias(name) for name, start in starts.items()]
    keys = (*RULE, *PLACE, *HOW)
    return changes.group_by(keys).agg(counts).sort(*RULE, *PLACE, *HOW, nulls_last=True)


def changes_by_rule(by_place: pl.DataFrame) -> pl.DataFrame:
    """Return how often each change happens to each rule."""
    keys = (*RULE, "change")
    return by_place.group_by(keys, maintain_order=True).agg(pl.col(*WINDOWS).sum())


def work_by_place(jobs: pl.DataFrame, starts: dict[str, datetime]) -> pl.DataFrame:
    """Return how many jobs either side calls for on each thing, a row per ``what``.

    ``what`` is ``old`` and ``new`` for all jobs of that side, ``extra`` and ``saved`` for those
    that only one side calls for, ``extra, done`` for extra ones that were logged all the same,
    ``sooner`` and ``later`` for those that both call for, from another instant on.
    """
    counted = {
        "old": (pl.col("old"), "old_since"),
        "new": (pl.col("new"), "new_since"),
        "extra": ((pl.col("new") - pl.col("old")).clip(0), "new_since"),
        "extra, done": (
            (pl.col("new") > pl.col("old")) & pl.col("done").is_not_null(),
            "new_since",
        ),
        "saved": ((pl.col("old") - pl.col("new")).clip(0), "old_since"),
        "sooner": (pl.col("new_since") < pl.col("old_since"), "new_since"),
        "later": (pl.col("new_since") > pl.col("old_since"), "new_since"),
    }
    keys = ("settled_by", "on", "van", "tank")
    frames = [
        jobs.group_by(keys).agg(
            pl.lit(what).alias("what"),
            *(
                number.cast(pl.Int64).filter(pl.col(since) >= start).sum().alias(name)
                for name, start in starts.items()
            ),
        )
        for what, (number, since) in counted.items()
    ]
    rows = pl.concat(frames).filter(pl.any_horizontal(pl.col(*WINDOWS) > 0))
    return rows.sort("settled_by", "van", "tank", "on", "what", nulls_last=True)


def work_by_kind(by_place: pl.DataFrame) -> pl.DataFrame:
    """Return how many jobs of each kind either side calls for, a row per ``what``."""
    keys = ("settled_by", "what")
    return by_place.group_by(keys).agg(pl.col(*WINDOWS).sum()).sort(keys)
