"""Facts about seals: how old each is, and whether a resin change was followed by lubrication."""

from datetime import timedelta
from functools import partial

import polars as pl

from qa_engine.facts.days import age_of_latest
from qa_engine.facts.fact import Fact, FactGroup
from qa_engine.facts.past import Past
from qa_engine.history import following

SEALS = ("head", "riser", "port")
LUBRICANTS = ("silicone", "petroleum", "other")

LUBRICATED_BEFORE = timedelta(hours=12)
"""How long before a resin change a lubrication may be logged and still count as done at it.

Crews log one job in several records, in any order; the span is a choice of this engine, no
published source.
"""


def _seal_age(seal: str, subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    services = past.history.of("seal_service", "tank", "at", "record", "seal", "replaced")
    replaced = services.filter(pl.col("replaced"), pl.col("seal") == seal)
    return age_of_latest(subjects, replaced, by="tank", name=f"{seal}_seal_age")


def _lubrication_logged(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    services = past.history.of("seal_service", "tank", "at", "record", "lubricant")
    lubricated = services.filter(pl.col("lubricant").is_in(LUBRICANTS))
    just_before = pl.col("at") - LUBRICATED_BEFORE - timedelta(microseconds=1)
    asked = subjects.select("tank", just_before.alias("at"), "until")
    found = following(asked, lubricated, by="tank", take=["record"])
    return found.select(
        pl.col("record").is_not_null().alias("lubrication_logged"),
        pl.col("record").alias("evidence"),
    )


def _age_group(seal: str) -> FactGroup:
    meaning = f"days since the {seal} seal was last replaced"
    at = (f"seal_service.replaced replaced=yes seal={seal}",)
    fact = Fact(f"{seal}_seal_age", "number", meaning, "d", low=0, per_day=1, looks_at=at)
    return FactGroup(("tank",), (fact,), partial(_seal_age, seal), reads=("seal_service",))


SEAL_FACTS = (
    *map(_age_group, SEALS),
    FactGroup(
        ("resin_change",),
        (
            Fact(
                "lubrication_logged",
                "yes/no",
                "a seal of this tank was lubricated, from 12 hours before the resin change on",
                absent="no",
            ),
        ),
        _lubrication_logged,
        reads=("seal_service",),
        looks_ahead=True,
    ),
)
