"""Facts about incidents: whether one is open, and whether an examination followed it."""

import polars as pl

from qa_engine.facts.fact import Fact, FactGroup
from qa_engine.facts.past import Past
from qa_engine.facts.use_facts import standing
from qa_engine.history import following, latest

FIT = ("fit", "fit with limits")
"""The results of a vessel service after which the vessel may be used."""


def _examinations(past: Past) -> pl.DataFrame:
    """Return the services after which the vessel may be used."""
    return past.history.of("vessel_service", "tank", "at", "record", "result").filter(
        pl.col("result").is_in(FIT)
    )


def _incident_open(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    incidents = past.history.of("incident", "tank", "at", "record")
    events = pl.concat(
        [
            _examinations(past).select("tank", "at", "record", pl.lit(False).alias("open")),
            incidents.with_columns(pl.lit(True).alias("open")),
        ]
    ).sort("tank", "at", "open", "record")
    found = latest(subjects, events, by="tank", take=["open", "record"])
    return found.select(
        pl.col("open").fill_null(value=False).alias("incident_open"),
        pl.col("record").alias("evidence"),
    )


def _examination_followed(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    found = following(subjects, _examinations(past), by="tank", take=["record"])
    return found.select(
        pl.col("record").is_not_null().alias("examination_followed"),
        pl.col("record").alias("evidence"),
    )


def _withdrawn(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    then = subjects.select("tank", at="until")
    changes = standing(past.history).rename({"item": "tank"})
    found = latest(then, changes, by="tank", take=["out", "record"])
    return found.select(
        pl.col("out").fill_null(value=False).alias("withdrawn"), pl.col("record").alias("evidence")
    )


INCIDENT_FACTS = (
    FactGroup(
        ("tank", "rinse", "reading"),
        (
            Fact(
                "incident_open",
                "yes/no",
                "something happened to the vessel and no later service found it fit",
                absent="no",
            ),
        ),
        _incident_open,
    ),
    FactGroup(
        ("incident",),
        (
            Fact(
                "examination_followed",
                "yes/no",
                "after the incident a service found the vessel fit, with limits or without",
                absent="no",
            ),
        ),
        _examination_followed,
        looks_ahead=True,
    ),
    FactGroup(
        ("incident",),
        (
            Fact(
                "withdrawn",
                "yes/no",
                "the tank was out of use at the end of the time to follow up the incident",
                absent="no",
            ),
        ),
        _withdrawn,
        looks_ahead=True,
    ),
)
