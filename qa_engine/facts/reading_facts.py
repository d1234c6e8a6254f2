"""Facts about readings: what the outlet last showed, how long ago, and what was rinsed since."""

import polars as pl

from qa_engine.charges import charge_at, so_far_in_charge
from qa_engine.facts.days import age_of_latest
from qa_engine.facts.fact import Fact, FactGroup
from qa_engine.facts.past import Past
from qa_engine.facts.whereabouts import with_van
from qa_engine.history import following, latest

HAS_OUTLET = pl.col("outlet_tds").is_not_null() | pl.col("outlet_conductivity").is_not_null()


def _outlet_readings(past: Past) -> pl.DataFrame:
    """Return the readings that say what came out of the tank."""
    columns = ("tank", "at", "record", "van", "outlet_tds", "outlet_conductivity")
    return past.history.of("reading", *columns).filter(HAS_OUTLET)


def _last_outlet_tds(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    readings = past.history.of("reading", "tank", "at", "record", "outlet_tds", "sampled").filter(
        pl.col("sampled") == "flowing", pl.col("outlet_tds").is_not_null()
    )
    readings = readings.with_columns(charge_at(readings, past.charges, ["number"]))
    numbers = past.charge_of(subjects)["number"]
    found = so_far_in_charge(subjects, numbers, readings, ["outlet_tds", "record"])
    return found.select(
        pl.col("outlet_tds").alias("last_outlet_tds"), pl.col("record").alias("evidence")
    )


def _last_outlet_age(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    return age_of_latest(subjects, _outlet_readings(past), by="tank", name="last_outlet_age")


def _rinses_since_reading(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    rinses = past.history.of("rinse", "tank", "at", "rinses").select(
        "tank",
        "at",
        pl.col("rinses").fill_null(0).cum_sum().over("tank").alias("counted"),
        pl.col("rinses").is_null().cum_sum().over("tank").alias("uncounted"),
    )
    readings = _outlet_readings(past).select("tank", "at", "record")
    sums = ["counted", "uncounted"]
    readings = readings.with_columns(latest(readings, rinses, by="tank", take=sums).fill_null(0))
    then = latest(subjects, readings, by="tank", take=["record", *sums])
    now = latest(subjects, rinses, by="tank", take=sums).fill_null(0)
    since = now["counted"] - then["counted"]
    complete = now["uncounted"] == then["uncounted"]
    return then.select(
        pl.when(complete).then(since).alias("rinses_since_reading"),
        pl.col("record").alias("evidence"),
    )


def _reading_followed(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    readings = with_van(_outlet_readings(past), past.register)
    found = following(subjects, readings, by="van", take=["record"])
    return found.select(
        pl.col("record").is_not_null().alias("reading_followed"), pl.col("record").alias("evidence")
    )


READING_FACTS = (
    FactGroup(
        ("tank", "charge", "rinse"),
        (
            Fact(
                "last_outlet_tds",
                "number",
                "what the last reading from flowing water on this charge showed at the outlet",
                "mg/L",
                low=0,
                looks_at=("reading.outlet_tds sampled=flowing",),
            ),
        ),
        _last_outlet_tds,
    ),
    FactGroup(
        ("tank", "rinse"),
        (
            Fact(
                "last_outlet_age",
                "number",
                "days since any reading of this tank's outlet",
                "d",
                low=0,
                per_day=1,
                looks_at=(
                    "reading.outlet_tds",
                    "reading.outlet_conductivity",
                ),
            ),
        ),
        _last_outlet_age,
    ),
    FactGroup(
        ("tank", "rinse"),
        (
            Fact(
                "rinses_since_reading",
                "number",
                "vehicles rinsed from this tank since the last reading of its outlet, this rinse "
                "included; unknown where one of the counts was not logged",
                "count",
                low=0,
                looks_at=(
                    "reading.outlet_tds",
                    "reading.outlet_conductivity",
                    "each rinse.rinses",
                ),
            ),
        ),
        _rinses_since_reading,
    ),
    FactGroup(
        ("complaint",),
        (
            Fact(
                "reading_followed",
                "yes/no",
                "after the complaint the same van read the outlet of one of its tanks",
                absent="no",
            ),
        ),
        _reading_followed,
        looks_ahead=True,
    ),
)
