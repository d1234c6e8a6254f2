"""Facts about the vessel: its services and their results, and when the next is due."""

from datetime import date

import polars as pl

from qa_engine.facts.days import age_of_latest, days_until, local_day
from qa_engine.facts.fact import Fact, FactGroup
from qa_engine.facts.fitness import OWN_POLICY, results_after_each
from qa_engine.facts.past import Past
from qa_engine.fields import Word
from qa_engine.history import latest
from qa_engine.records import KINDS

_WORDS = {
    name: field.words
    for name, field in KINDS["vessel_service"].fields.items()
    if isinstance(field, Word)
}
_ROWS = 2**32
_NEVER = (date.max - date(1970, 1, 1)).days
"""The due day where no service stands any more, later than any other; days since 1970-01-01."""

_UNSTATED = _NEVER - 1
"""The due day of a service that states none, later than any that is stated."""

_EXAMINED_BY = ("periodic", "hydrostatic")


def _services(past: Past, *columns: str) -> pl.DataFrame:
    return past.history.of("vessel_service", "tank", "at", "record", *columns)


def _due(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    take = ["due", "record", "unstated"]
    found = latest(subjects, _due_after_each(past), by="tank", take=take)
    today = local_day(subjects["at"], past.register.zone)
    left = days_until(found["due"], today).alias("left")
    open_still = pl.col("unstated").is_not_null() & ~(pl.col("left") < 0).fill_null(value=False)
    return found.with_columns(left).select(
        pl.when(~open_still).then("left").alias("vessel_due_in"),
        pl.when(open_still).then("unstated").otherwise("record").alias("evidence"),
    )


def _due_after_each(past: Past) -> pl.DataFrame:
    """Return for each service the due day that governs from then on, and the record that set it.

    The latest service of each kind on each authority counts with the day it states, and the
    earliest of these days governs. A service without an authority stands until the next one of
    its kind, on whatever authority. ``unstated`` is one of those that state no day, if any does.
    """
    services = _in_order(_services(past, "service", "authority", "next_due"))
    day = pl.col("next_due").cast(pl.Int32).cast(pl.Int64).fill_null(_UNSTATED)
    row = pl.int_range(pl.len(), dtype=pl.Int64)
    standing = [
        _standing(kind, authority).forward_fill().over("tank").alias(f"{kind} {authority}")
        for kind in (*_WORDS["service"], None)
        for authority in (*_WORDS["authority"], None)
    ]
    states_none = [pl.when(s // _ROWS == _UNSTATED).then(s) for s in map(_named, standing)]
    governing = (
        services.with_columns(stated=day * _ROWS + row, none=_NEVER * _ROWS + row)
        .with_columns(standing)
        .select(
            "tank",
            "at",
            pl.min_horizontal(map(_named, standing)).alias("first"),
            pl.min_horizontal(states_none).alias("unstated"),
        )
    )
    due = pl.col("first") // _ROWS
    return governing.with_columns(
        pl.when(due < _UNSTATED).then(due).cast(pl.Int32).cast(pl.Date).alias("due"),
        services["record"].gather(governing["first"] % _ROWS),
        services["record"].gather(governing["unstated"] % _ROWS).alias("unstated"),
    )


def _named(column: pl.Expr) -> pl.Expr:
    return pl.col(column.meta.output_name())


def _in_order(services: pl.DataFrame) -> pl.DataFrame:
    """Return services by (tank, at); at one instant, what is to be feared most comes last."""
    unstated = pl.col("authority").is_null()
    return services.sort(
        "tank",
        "at",
        unstated,
        pl.col("next_due").fill_null(date.max),
        descending=[False, False, False, True],
        maintain_order=True,
    )


def _standing(kind: str | None, authority: str | None) -> pl.Expr:
    """Return the due day that a row sets for one kind of service on one authority, else null."""
    of_kind = pl.col("service").eq_missing(pl.lit(kind, pl.String))
    if authority is not None:
        return pl.when(of_kind, pl.col("authority") == authority).then(pl.col("stated"))
    unstated = pl.col("authority").is_null()
    return pl.when(of_kind).then(pl.when(unstated).then(pl.col("stated")).otherwise(pl.col("none")))


def _authority_stated(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    services = _in_order(_services(past, "service", "authority", "next_due"))
    lacking = [
        _lacking(kind).forward_fill().over("tank").replace("", None).alias(f"lacking {kind}")
        for kind in (*_WORDS["service"], None)
    ]
    states = services.with_columns(pl.coalesce(lacking).alias("lacking"))
    found = latest(subjects, states, by="tank", take=["record", "lacking"])
    known, lacks = pl.col("record").is_not_null(), pl.col("lacking").is_not_null()
    return found.select(
        pl.when(known).then(~lacks).alias("vessel_authority_stated"),
        pl.coalesce("lacking", "record").alias("evidence"),
    )


def _lacking(kind: str | None) -> pl.Expr:
    """Return a service that lacks an authority, "" if it has one, null if it is of another kind."""
    of_kind = pl.col("service").eq_missing(pl.lit(kind, pl.String))
    unstated = pl.col("authority").is_null()
    return pl.when(of_kind).then(pl.when(unstated).then("record").otherwise(pl.lit("")))


def _result(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    take = ["result", "record"]
    found = latest(subjects, results_after_each(past), by="tank", take=take)
    return found.rename({"result": "vessel_result", "record": "evidence"})


def _examined(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    examinations = _services(past, "service", "authority").filter(
        pl.col("service").is_in(_EXAMINED_BY), pl.col("authority") != OWN_POLICY
    )
    found = latest(subjects, examinations, by="tank", take=["record"])
    return found.select(
        pl.when(pl.col("record").is_not_null()).then(statement=True).alias("vessel_examined"),
        pl.col("record").alias("evidence"),
    )


def _service_age(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    return age_of_latest(subjects, _services(past), by="tank", name="vessel_service_age")


VESSEL_FACTS = (
    FactGroup(
        ("tank", "rinse"),
        (
            Fact(
                "vessel_due_in",
                "number",
                "days until the next service of the vessel is due, by the earliest of the days "
                "that the latest services state, negative once it is overdue; unknown while "
                "none is overdue and one of these services states no day",
                "d",
                per_day=-1,
                looks_at=("vessel_service.next_due",),
            ),
        ),
        _due,
        reads=("vessel_service",),
    ),
    FactGroup(
        ("tank",),
        (
            Fact(
                "vessel_authority_stated",
                "yes/no",
                "every one of the latest services of the vessel says on whose authority it was",
                looks_at=("vessel_service.authority",),
            ),
        ),
        _authority_stated,
        reads=("vessel_service",),
    ),
    FactGroup(
        ("tank", "rinse"),
        (
            Fact(
                "vessel_result",
                "words",
                "result that stands for the vessel: an unfit one until a later service of the "
                "same or a stronger kind finds it fit, on an authority beyond operator policy and "
                "by a competent person; unknown where such a service lacks one of these, or a "
                "periodic or hydrostatic one its result",
                words=_WORDS["result"],
                looks_at=(
                    "vessel_service.result",
                    "vessel_service.authority",
                    "vessel_service.competent_person",
                ),
            ),
        ),
        _result,
        reads=("vessel_service",),
    ),
    FactGroup(
        ("tank",),
        (
            Fact(
                "vessel_examined",
                "yes/no",
                "a periodic or hydrostatic examination on data plate, local code or written "
                "scheme is on record; unknown rather than no where none is, since only local "
                "codes can say whether one is due",
                looks_at=(
                    "vessel_service.authority service=periodic",
                    "vessel_service.authority service=hydrostatic",
                ),
            ),
        ),
        _examined,
        reads=("vessel_service",),
    ),
    FactGroup(
        ("tank",),
        (
            Fact(
                "vessel_service_age",
                "number",
                "days since the latest service of the vessel",
                "d",
                low=0,
                per_day=1,
                looks_at=("vessel_service.service",),
            ),
        ),
        _service_age,
        reads=("vessel_service",),
    ),
)
