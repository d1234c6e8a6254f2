"""Facts about spent resin: how much a base holds, and how long it has held the oldest of it.

A refill leaves the resin that was taken out at the base of the van that did it; an exchanged or
regenerated tank takes its resin along. What came to a base first leaves it first. Where a volume
was not logged, the least and the most that it can have been are both followed, and a fact is
known only where the two agree: so doubt ends once a base has certainly been cleared.
"""

import polars as pl

from qa_engine.facts.days import days_since
from qa_engine.facts.fact import Fact, FactGroup
from qa_engine.facts.past import Past
from qa_engine.facts.whereabouts import with_van
from qa_engine.history import latest, valid_rows

SLACK_L = 1e-6
"""Differences of volume that are rounding and nothing else [L]."""

MOST_TAKEN_OUT_L = 10_000.0
MOST_DISPOSED_OF_L = 100_000.0
"""The most that a tank unknown to the register can hold, and one disposal take [L]; no record or
register row may say more."""


def _held(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    found = latest(subjects, _states(past), by="base", take=["held", "oldest", "aged", "record"])
    silent = pl.col("record").is_null()
    age = days_since(subjects["at"], found["oldest"]).fill_null(0.0)
    return found.select(
        pl.when(silent).then(0.0).otherwise("held").alias("spent_resin_held"),
        pl.when(silent | pl.col("aged")).then(age).alias("spent_resin_held_for"),
        pl.col("record").alias("evidence"),
    )


def _states(past: Past) -> pl.DataFrame:
    """Return what each base holds after each refill and disposal, sorted by (base, at).

    Returns:
        A frame of ``base``, ``at``; ``held`` [L], null if unknown; ``oldest``, when the oldest of
        it was taken out, null if there is none or ``aged`` says that it is not known; and
        ``record``, the refill that it stems from, or else the last record.
    """
    moves = pl.concat([_taken_out(past), _disposed_of(past)]).sort("base", "at", "leaves", "record")
    least = _followed(moves, brought="least", taken="most")
    most = _followed(moves, brought="most", taken="least")
    held = most["held"]
    same = (held - least["held"]).abs() <= SLACK_L
    return moves.select(
        "base",
        "at",
        pl.when(same).then(held).alias("held"),
        most["oldest"],
        most["oldest"].eq_missing(least["oldest"]).alias("aged"),
        pl.coalesce(most["oldest_record"], "record").alias("record"),
    )


def _taken_out(past: Past) -> pl.DataFrame:
    """Return the resin that refills took out: base, at, record and its least and most volume."""
    columns = ("tank", "at", "record", "van", "change")
    changes = with_van(past.history.of("resin_change", *columns), past.register)
    begun = past.charges.select("record", ended=pl.col("number") - 1)
    volumes = past.resin.group_by("tank", ended="number").agg(pl.col("resin_volume").last())
    emptied = (
        changes.filter(pl.col("change").is_null() | (pl.col("change") == "emptied and refilled"))
        .join(begun, on="record", how="left")
        .join(volumes, on=["tank", "ended"], how="left")
        .sort("tank", "at", "record")
    )
    shell = valid_rows(emptied, past.register, "tanks", ["vessel_volume"])["vessel_volume"]
    base = valid_rows(emptied, past.register, "vans", ["base"])["base"]
    volume = pl.col("resin_volume")
    return emptied.select(
        base,
        "at",
        "record",
        pl.lit(False).alias("leaves"),
        pl.when(pl.col("change").is_not_null()).then(volume).fill_null(0.0).alias("least"),
        pl.coalesce(volume, shell, MOST_TAKEN_OUT_L).alias("most"),
    ).drop_nulls("base")


def _disposed_of(past: Past) -> pl.DataFrame:
    volume = pl.col("resin_volume")
    return past.history.of("disposal", "base", "at", "record", "resin_volume").select(
        "base",
        "at",
        "record",
        pl.lit(True).alias("leaves"),
        volume.fill_null(0.0).alias("least"),
        volume.fill_null(MOST_DISPOSED_OF_L).alias("most"),
    )


def _followed(moves: pl.DataFrame, brought: str, taken: str) -> pl.DataFrame:
    """Return what is held after each move, and the refill that the oldest of it stems from.

    A disposal of more than there is leaves nothing, and nothing owed.

    Args:
        moves: resin brought to and taken from bases, sorted by (base, at).
        brought: the column with the volumes to follow of what comes.
        taken: the column with the volumes to follow of what goes.
    """
    leaves = pl.col("leaves")
    frame = moves.select(
        "base",
        "at",
        "record",
        pl.when(leaves).then(0.0).otherwise(brought).cum_sum().over("base").alias("brought"),
        pl.when(leaves).then(-pl.col(taken)).otherwise(brought).cum_sum().over("base").alias("net"),
    )
    short = pl.col("net").cum_min().over("base").clip(upper_bound=0.0)
    frame = frame.with_columns(held=pl.col("net") - short)
    gone = (pl.col("brought") - pl.col("held")).cum_max().over("base") + SLACK_L
    oldest = frame.select("base", litre=gone).join_asof(
        frame.select("base", "at", "record", litre="brought"),
        on="litre",
        by="base",
        strategy="forward",
        check_sortedness=False,
    )
    some = frame["held"] > SLACK_L
    return frame.select(
        pl.when(some).then("held").otherwise(0.0).alias("held"),
        pl.when(some).then(oldest["at"]).alias("oldest"),
        pl.when(some).then(oldest["record"]).alias("oldest_record"),
    )


RESIN_HELD_FACTS = (
    FactGroup(
        ("base",),
        (
            Fact(
                "spent_resin_held",
                "number",
                "spent resin taken out at this base and not yet disposed of, first in, first out; "
                "unknown while a volume that was not logged leaves it open",
                "L",
                low=0,
                looks_at=(
                    "resin_change.resin_volume",
                    "disposal.resin_volume",
                ),
            ),
            Fact(
                "spent_resin_held_for",
                "number",
                "days for which the oldest spent resin at this base has been held, 0 if none is",
                "d",
                low=0,
                per_day=1,
                looks_at=(
                    "resin_change.resin_volume",
                    "disposal.resin_volume",
                ),
            ),
        ),
        _held,
        reads=("resin_change", "disposal"),
    ),
)
