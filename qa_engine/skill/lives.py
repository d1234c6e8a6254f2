"""Which past charges reached the limit, after how many vehicles, and why others do not count.

The outlet is read now and then, so the moment at which it reached the limit lies between two
readings. The outlet of a bed rises exponentially, so it is sought on a straight line through their
logarithms.
"""

from dataclasses import dataclass

import numpy as np
import polars as pl

from qa_engine.charges import charge_at, so_far_in_charge
from qa_engine.facts.past import Past
from qa_engine.history import valid_rows

LEAST_SHOWN_MG_L = 0.5
"""What counts for a reading of 0: half a digit of the usual display [mg/L]."""

WIDEST_GAP = 0.3
"""The most that may be rinsed between the readings around the limit, over the life [1].

On the invented fleet of the benchmark nine lives of ten are then known to 4 %. No published source.
"""

READ = ("outlet_tds", "outlet_conductivity")

WHY_NOT = {
    "beginning": "when they began is not on record",
    "model": "no model speaks for their grade",
    "softening": "their grade does not lower TDS",
    "unread": "their outlet was never read from flowing water",
    "changed early": "changed before the outlet reached the limit",
    "in use": "still in use, the outlet below the limit",
    "water": "the vehicles, their water or the inlet are not known throughout",
    "topped up": "topped up on the way",
    "gap": "not read shortly before the outlet reached the limit",
    "unforeseen": "no forecast could be made of them",
}
"""Why charges do not count; each is given the first reason that holds."""


@dataclass(frozen=True)
class Lives:
    """Past charges and their readings.

    Attributes:
        charges: a row per charge, sorted by (tank, number): ``tank``, ``number``, ``charge``,
            ``grade``, ``resin_volume`` [L], ``life`` (vehicles rinsed until the outlet reached the
            limit, null where the charge does not count) and ``why_not`` (null where it does).
        readings: flowing readings of the outlet below the limit, of charges that count, sorted by
            (tank, at, record): ``tank``, ``at``, ``record``, ``number``, ``done`` (vehicles rinsed
            on the charge by then).
    """

    charges: pl.DataFrame
    readings: pl.DataFrame


KEY = ["tank", "number"]


def lives_of(past: Past, limit_mg_l: float) -> Lives:
    """Return the past charges, with the life of each whose outlet reached the limit.

    Args:
        past: the records.
        limit_mg_l: on the meter's scale [mg/L].
    """
    readings = _readings(past)
    over = readings.filter(pl.col("outlet") >= limit_mg_l).unique(
        KEY, keep="first", maintain_order=True
    )
    below = readings.join(
        over.select(*KEY, pl.col("row").alias("row_over")), on=KEY, maintain_order="left"
    ).filter(pl.col("row") < pl.col("row_over"))
    last = below.unique(KEY, keep="last", maintain_order=True)
    ends = over.join(last, on=KEY, how="left", suffix="_below", maintain_order="left")
    charges = _judged(past, readings, ends.with_columns(_life(limit_mg_l)))
    counting = charges.filter(pl.col("why_not").is_null())
    below = below.join(counting, on=KEY, how="semi", maintain_order="left")
    return Lives(charges, below.filter("counts").select(*KEY, "at", "record", "done"))


def _readings(past: Past) -> pl.DataFrame:
    """Return the readings of flowing outlet water, as a meter of TDS shows them.

    ``done`` is null where the vehicles so far are not all known, and ``counts`` says whether
    learning could make use of the reading: then its inlet and all the water so far are known.
    """
    read = past.history.of("reading", "tank", "at", "record", "meter", "sampled", *READ)
    read = read.filter(
        pl.col("sampled") == "flowing", pl.any_horizontal(pl.col(READ).is_not_null())
    )
    factor = valid_rows(read, past.register, "meters", ["factor"])["factor"]
    number = charge_at(read.select("tank", "at"), past.charges, ["number"])["number"]
    used = so_far_in_charge(read, number, past.usage, ["total_rinses"])
    none_yet = used["number"].is_null()
    return (
        read.select(
            "tank",
            "at",
            "record",
            number,
            pl.coalesce("outlet_tds", pl.col("outlet_conductivity") * factor).alias("outlet"),
            pl.when(none_yet).then(0.0).otherwise(used["total_rinses"]).alias("done"),
            pl.col("record").is_in(past.learning.evidence["record"].implode()).alias("counts"),
        )
        .drop_nulls("outlet")
        .with_row_index("row")
    )


def _life(limit_mg_l: float) -> pl.Expr:
    """Return the vehicles rinsed when the outlet reached the limit."""
    below = pl.max_horizontal("outlet_below", pl.lit(LEAST_SHOWN_MG_L)).log()
    part = (np.log(limit_mg_l) - below) / (pl.col("outlet").log() - below)
    gap = pl.col("done") - pl.col("done_below")
    life: pl.Expr = pl.col("done_below") + part.clip(0.0, 1.0) * gap
    return life.alias("life")


def _judged(past: Past, readings: pl.DataFrame, ends: pl.DataFrame) -> pl.DataFrame:
    """Return all charges, each with its life or the reason why it does not count."""
    last = past.resin.group_by(KEY).agg(pl.len().alias("fillings"), pl.col("resin_volume").last())
    read = readings.group_by(KEY).agg(pl.len().alias("readings"))
    ends = ends.select(
        *KEY, "life", "done", "done_below", "counts", pl.lit(value=True).alias("over")
    )
    charges = past.charges.drop("resin_volume")
    for more in (last, read, ends):
        charges = charges.join(more, on=KEY, how="left", maintain_order="left")
    reasons = (pl.when(holds).then(pl.lit(why)) for why, holds in _reasons(past).items())
    return charges.with_columns(pl.coalesce(*reasons).alias("why_not")).select(
        *KEY,
        "charge",
        "grade",
        "resin_volume",
        pl.when(pl.col("why_not").is_null()).then("life").alias("life"),
        "why_not",
    )


def _reasons(past: Past) -> dict[str, pl.Expr]:
    """Return why a charge does not count, the first reason that holds; keys of ``WHY_NOT``."""
    lowering = [name for name, model in past.models.items() if model.grade.lowers_tds]
    never_over = pl.col("over").is_null()
    gap = (pl.col("done") - pl.col("done_below")) / pl.col("life")
    return {
        "beginning": ~pl.col("known"),
        "model": ~pl.col("grade").is_in(list(past.models)).fill_null(value=False),
        "softening": ~pl.col("grade").is_in(lowering),
        "unread": pl.col("readings").is_null(),
        "changed early": never_over & pl.col("ends").is_not_null(),
        "in use": never_over,
        "water": ~pl.col("counts") | pl.col("done").is_null(),
        "topped up": pl.col("fillings") > 1,
        "gap": pl.col("life").is_null() | (gap > WIDEST_GAP),
    }
