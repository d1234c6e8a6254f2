"""What is known of every tank as of an instant, a row each: for the fleet board."""

from datetime import timedelta

import polars as pl

from qa_engine.asking import known_of
from qa_engine.facts.catalogue import Catalogue
from qa_engine.facts.past import Past
from qa_engine.history import valid_rows
from qa_engine.subjects import subjects_of

FACTS = (
    "grade",
    "charge_known",
    "charge_age",
    "out_of_use",
    "last_outlet_tds",
    "last_outlet_age",
    "learnt_used_fraction",
    "learnt_used_fraction_low",
    "learnt_used_fraction_high",
)


def tanks_as_of(past: Past, catalogue: Catalogue) -> pl.DataFrame:
    """Return a row per tank that the register or a record names, sorted by tank.

    Returns:
        Columns ``tank``, ``van``, ``base``, ``grade``, ``out_of_use``, ``charge_since``,
        ``last_outlet`` [mg/L], ``last_outlet_at``, ``left_low``, ``left_median``, ``left_high``
        (share of the capacity, 10, 50 and 90 %); null where not known.
    """
    subjects = subjects_of("tank", past, by_day=False)
    known = known_of("tank", FACTS, subjects, past, catalogue).frame
    bases = valid_rows(subjects.select("van", "at"), past.register, "vans", ["base"])
    frame = subjects.select("tank", "van").hstack([bases["base"]]).hstack(known.select(FACTS))
    return frame.select(
        "tank",
        "van",
        "base",
        "grade",
        "out_of_use",
        _before(past, "charge_age").alias("charge_since"),
        pl.col("last_outlet_tds").alias("last_outlet"),
        _before(past, "last_outlet_age").alias("last_outlet_at"),
        _left("learnt_used_fraction_high").alias("left_low"),
        _left("learnt_used_fraction").alias("left_median"),
        _left("learnt_used_fraction_low").alias("left_high"),
    ).sort("tank")


def _before(past: Past, age: str) -> pl.Expr:
    """Return the instant that lies an age before now."""
    micros = (pl.col(age) * (timedelta(days=1) / timedelta(microseconds=1))).round()
    return pl.lit(past.as_of) - micros.cast(pl.Duration("us"))


def _left(used: str) -> pl.Expr:
    return (1 - pl.col(used)).clip(0, 1)
