"""Facts about incidents: whether one is open, and whether an examination followed it."""

import polars as pl

from qa_engine.facts.fact import Fact, FactGroup
from qa_engine.facts.fitness import COLUMNS, closes_an_incident
from qa_engine.facts.past import Past
from qa_engine.facts.use_facts import standing
from qa_engine.history import following, latest


def _examinations(past: Past) -> pl.DataFrame:
    """Return the services that surely or perhaps close incidents; ``sure`` tells which do."""
    services = past.history.of("vessel_service", *COLUMNS)
    closes = closes_an_incident()
    return services.filter(closes.fill_null(value=True)).select(
        "tank", "at", "record", closes.fill_null(value=False).alias("sure")
    )


def _incident_open(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    found = latest(subjects, _after_each(past), by="tank", take=["open", "record"])
    nothing_yet = pl.col("record").is_null()
    return found.select(
        pl.when(nothing_yet).then(statement=False).otherwise("open").alias("incident_open"),
        pl.col("record").alias("evidence"),
    )


def _after_each(past: Past) -> pl.DataFrame:
    """Return whether an incident is open after each incident and each examination, null if perhaps.

    An examination at the instant of an incident came before it: the cautious reading wins.
    """
    incidents = past.history.of("incident", "tank", "at", "record")
    events = pl.concat([_examinations(past), incidents], how="diagonal")
    is_incident = pl.col("sure").is_null()
    events = events.sort("tank", "at", is_incident, "record")
    incident, sure, perhaps = (
        pl.when(is_one).then(pl.int_range(pl.len())).forward_fill().over("tank").fill_null(-1)
        for is_one in (is_incident, pl.col("sure"), ~pl.col("sure"))
    )
    return events.select(
        "tank",
        "at",
        "record",
        pl.when(incident <= sure)
        .then(statement=False)
        .when(perhaps < incident)
        .then(statement=True)
        .alias("open"),
    )


def _examination_followed(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    examinations = _examinations(past)
    sure, perhaps = (
        following(subjects, examinations.filter(kept), by="tank", take=["record"])["record"]
        for kept in (pl.col("sure"), ~pl.col("sure"))
    )
    found = pl.DataFrame({"sure": sure, "perhaps": perhaps})
    known = pl.col("sure").is_not_null() | pl.col("perhaps").is_null()
    return found.select(
        pl.when(known).then(pl.col("sure").is_not_null()).alias("examination_followed"),
        pl.coalesce("sure", "perhaps").alias("evidence"),
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
                "something happened to the vessel and no later examination found it fit: a "
                "periodic or hydrostatic one, or a visual one that states a competent person, on "
                "an authority beyond operator policy; unknown, not no, where a later periodic or "
                "hydrostatic one lacks authority, competent person or result",
                absent="no",
            ),
        ),
        _incident_open,
        reads=("incident", "vessel_service"),
    ),
    FactGroup(
        ("incident",),
        (
            Fact(
                "examination_followed",
                "yes/no",
                "after the incident an examination found the vessel fit, with limits or without; "
                "unknown, not no, where one lacks authority, competent person or result",
                absent="no",
            ),
        ),
        _examination_followed,
        reads=("incident", "vessel_service"),
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
        reads=("out_of_use", "return_to_use"),
        looks_ahead=True,
    ),
)
