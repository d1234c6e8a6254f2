"""The trade's rule of thumb: how many vehicles a charge is good for, by its size alone.

Common practice, no published source: half a cubic foot of mixed resin, used for rinsing only, does
about 90 cars or about 15 large motorhomes. With some 10 US gallons (38 L) for a car, 15 motorhomes
mean 60 gallons (227 L) each. Other classes count by the litres that the register gives a rinse of
theirs. The rule knows nothing of the water; the calculated capacity does, and should lead.
"""

import polars as pl

from qa_engine.facts import Fact, FactGroup
from qa_engine.facts.past import Past
from qa_engine.history import latest, valid_rows
from qa_engine.hookspecs import hookimpl
from qa_engine.units import conversion

RATED_RESIN_L = 0.5 * conversion("ft3", "L").factor
"""The charge of which the trade speaks, 14.16 L [L]."""

RATED_CARS = 90.0
"""Cars that such a charge is good for [count]."""

CAR_L = 10.0 * conversion("gal", "L").factor
"""Water for rinsing a car, assumed, 37.85 L [L]."""


def find_rated_rinses(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    """Return the rated number of rinses of each subject's charge, for its mix of vehicles so far.

    Before its first rinse, a charge is rated for cars. Unknown where the resin in the charge is,
    or, from then on, the class, its litres or the count of a rinse.
    """
    charge = past.charge_of(subjects)
    resin = _of_own_charge(subjects, charge, past.resin, "resin_volume")
    rinsed = _of_own_charge(subjects, charge, _rinsed_so_far(past), "rinses", "litres")
    none_yet = pl.col("number").is_null() | (pl.col("rinses") == 0)
    litres_each = pl.when(none_yet).then(CAR_L).otherwise(pl.col("litres") / pl.col("rinses"))
    rated_l = resin["resin_volume"] / RATED_RESIN_L * RATED_CARS * CAR_L
    return rinsed.select(litres_each.alias("each")).select(
        (pl.lit(rated_l) / pl.when(pl.col("each") > 0).then("each")).alias("rated_rinses"),
        charge["record"].alias("evidence"),
    )


def _rinsed_so_far(past: Past) -> pl.DataFrame:
    """Return vehicles and their litres up to each rinse of a charge, null once one is unknown."""
    rinses = past.history.of("rinse", "tank", "at", "vehicle_class", "rinses")
    each = valid_rows(rinses, past.register, "vehicle_classes", ["water_per_rinse"])
    number = past.charge_of(rinses.select("tank", "at"))["number"]
    litres = (rinses["rinses"] * each["water_per_rinse"]).alias("litres")
    unknown_stays = pl.col("rinses", "litres").fill_null(float("nan")).cum_sum()
    return rinses.select("tank", "at", number, "rinses", litres).with_columns(
        unknown_stays.over("tank", "number").fill_nan(None)
    )


def _of_own_charge(
    subjects: pl.DataFrame, charge: pl.DataFrame, rows: pl.DataFrame, *take: str
) -> pl.DataFrame:
    """Return the last row of each subject's own charge up to its instant, nulls where none is."""
    found = latest(subjects, rows, by="tank", take=["number", *take])
    own = found["number"] == charge["number"]
    return found.select(pl.when(own).then(pl.col(name)).alias(name) for name in found.columns)


@hookimpl
def qa_facts() -> list[FactGroup]:
    """Offer the rated number of rinses."""
    rated = Fact(
        "rated_rinses",
        "number",
        "rinses that the trade's rule of thumb gives this charge, for its mix of vehicle classes",
        "count",
        low=0,
        looks_at=(
            "charge_resin_volume",
            "each rinse.rinses",
            "each rinse.class_water_per_rinse",
        ),
    )
    return [FactGroup(("charge", "tank", "rinse"), (rated,), find_rated_rinses)]
