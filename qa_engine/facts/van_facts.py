"""Facts about vans: how long since one last logged anything, in days and in working days."""

from datetime import date, timedelta

import polars as pl

from qa_engine.facts.days import days_since, local_days
from qa_engine.facts.fact import Fact, FactGroup
from qa_engine.facts.past import Past
from qa_engine.facts.use_facts import standing
from qa_engine.facts.whereabouts import with_van
from qa_engine.history import latest, valid_rows
from qa_engine.records import KINDS

JUST_BEFORE = timedelta(microseconds=1)


def _silence(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    last = latest(subjects, _logged(past), by="van", take=["at", "record"])
    zones = _zones(subjects, past)
    today = local_days(subjects["at"], zones)
    day_after = local_days(last["at"], zones).dt.offset_by("1d").fill_null(today)
    vans, spells = subjects["van"], _spells(past)
    silent = _on_duty_before(today, vans, spells) - _on_duty_before(day_after, vans, spells)
    return last.select(
        pl.when(pl.col("record").is_not_null())
        .then(silent.clip(lower_bound=0).cast(pl.Float64))
        .alias("working_days_silent"),
        days_since(subjects["at"], last["at"]).alias("last_record_age"),
        pl.col("record").alias("evidence"),
    )


def _logged(past: Past) -> pl.DataFrame:
    """Return all records of vans, of whatever kind."""
    kinds = [past.history.of(kind, "van", "tank", "at", "record") for kind in KINDS]
    return with_van(pl.concat(kinds), past.register).select("van", "at", "record")


def _zones(places: pl.DataFrame, past: Past) -> pl.Series:
    """Return the time zone by whose clock each van works: its own, or else the operator's."""
    own = valid_rows(places, past.register, "vans", ["time_zone"])["time_zone"]
    return own.fill_null(past.register.zone.key)


def _on_duty_before(days: pl.Series, vans: pl.Series, spells: pl.DataFrame) -> pl.Series:
    """Return the working days before each day that its van did not begin out of use.

    They are counted from 1970 on; only their differences mean anything.
    """
    asked = pl.DataFrame({"van": vans, "at": days})
    found = latest(
        asked, spells, by="van", take=["first_day", "out", "idle_before"], at="first_day"
    )
    idle_now = pl.when("out").then(pl.business_day_count("first_day", "at")).otherwise(0)
    return asked.with_columns(found).select(
        on_duty=pl.business_day_count(pl.lit(date(1970, 1, 1)), "at")
        - idle_now
        - pl.col("idle_before").fill_null(0)
    )["on_duty"]


def _spells(past: Past) -> pl.DataFrame:
    """Return the spells in and out of use of vans, sorted by (van, first_day).

    Returns:
        A frame of ``van``; ``first_day``, the first day that began in the spell, by the van's
        clock; ``out``, whether the van is out of use; and ``idle_before``, the working days that
        it began out of use before the spell. A spell in which no day began is left out.
    """
    changes = standing(past.history).rename({"item": "van"})
    eve = local_days(changes["at"] - JUST_BEFORE, _zones(changes, past))
    spells = changes.select("van", "out", first_day=eve.dt.offset_by("1d")).unique(
        ["van", "first_day"], keep="last", maintain_order=True
    )
    next_first = pl.col("first_day").shift(-1).over("van")
    idle = pl.when("out").then(pl.business_day_count("first_day", next_first)).fill_null(0)
    return spells.with_columns(idle=idle).select(
        "van",
        "first_day",
        "out",
        idle_before=pl.col("idle").cum_sum().shift(1, fill_value=0).over("van"),
    )


VAN_FACTS = (
    FactGroup(
        ("van",),
        (
            Fact(
                "working_days_silent",
                "number",
                "whole working days, Monday to Friday, between the day on which the van last "
                "logged anything and this day, without those that it began out of use",
                "count",
                low=0,
            ),
            Fact(
                "last_record_age",
                "number",
                "days since the van last logged anything",
                "d",
                low=0,
                per_day=1,
            ),
        ),
        _silence,
    ),
)
