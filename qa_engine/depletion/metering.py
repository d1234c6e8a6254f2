"""How much water each rinse took: as logged, by the tank's counter, or by the class of vehicle."""

import polars as pl

from qa_engine.charges import charge_at
from qa_engine.history import History, latest, valid_rows

BASES = ("logged", "counter", "class")
"""Where the water of a rinse is known from, the best first."""

LITRE_DECIMALS = 3
"""Differences of counter values are rounded to the millilitre; no counter shows less."""


def counter_log(history: History) -> pl.DataFrame:
    """Return every value of the tanks' counters, sorted by (tank, at).

    Of values at one instant, that of a rinse comes before that of a reading or a resin change,
    which were taken when the water had run.

    Returns:
        A frame of ``tank``, ``at``, ``counter`` [L]; ``logged``, the litres logged on the tank
        up to then, and ``unlogged``, the number of rinses without litres; ``place``, the row
        among the rinse records, null for other kinds.
    """
    rinses = history.of("rinse", "tank", "at", "counter", "water_used").select(
        "tank",
        "at",
        "counter",
        pl.col("water_used").fill_null(0).cum_sum().over("tank").alias("logged"),
        pl.col("water_used").is_null().cast(pl.Int64).cum_sum().over("tank").alias("unlogged"),
        pl.int_range(pl.len(), dtype=pl.UInt32).alias("place"),
    )
    others = pl.concat(
        history.of(kind, "tank", "at", "counter").drop_nulls("counter")
        for kind in ("reading", "resin_change")
    )
    before = latest(others, rinses, by="tank", take=["logged", "unlogged"])
    others = pl.concat([others, before.fill_null(0)], how="horizontal")
    log = pl.concat([rinses.drop_nulls("counter"), others], how="diagonal")
    return log.sort("tank", "at", maintain_order=True) if others.height else log


def water_of(history: History) -> pl.DataFrame:
    """Return the water of each rinse, row for row beside the rinse records.

    The litres as logged count first. Otherwise the counter does: what it gained since its last
    value on this tank, less the litres logged in between, provided that no other rinse without
    litres lies in between and that it did not go backwards, as it seems to when a meter is
    replaced. Otherwise the register's water per rinse of the class times the number of rinses.

    Returns:
        A frame of ``water`` [L] and ``water_basis`` (one of ``BASES``), both null where nothing
        is known.
    """
    rinses = history.of("rinse", "tank", "at", "vehicle_class", "rinses", "water_used", "counter")
    water = pl.DataFrame(
        [rinses["water_used"].alias("logged"), _by_counter(rinses, history).alias("counter")]
    )
    unknown = water.select(pl.all_horizontal(pl.all().is_null()).arg_true()).to_series()
    by_class = _by_class(rinses[unknown], history)
    water = water.with_columns(_nothing(rinses).scatter(unknown, by_class).alias("class"))
    basis = pl.coalesce(pl.when(pl.col(name).is_not_null()).then(pl.lit(name)) for name in BASES)
    return water.select(pl.coalesce(BASES).alias("water"), basis.alias("water_basis"))


def _nothing(rinses: pl.DataFrame) -> pl.Series:
    return pl.Series([None], dtype=pl.Float64).new_from_index(0, rinses.height)


def _by_counter(rinses: pl.DataFrame, history: History) -> pl.Series:
    if not (rinses["water_used"].is_null() & rinses["counter"].is_not_null()).any():
        return _nothing(rinses)
    same_tank = pl.col("tank") == pl.col("tank").shift()
    gained = pl.col("counter").diff() - pl.col("logged").diff()
    alone = pl.col("unlogged").diff() == 1
    gain = pl.when(same_tank & alone & (gained >= 0)).then(gained.round(LITRE_DECIMALS))
    gains = counter_log(history).select("place", gain.alias("gain")).drop_nulls()
    return _nothing(rinses).scatter(gains["place"], gains["gain"])


def _by_class(rinses: pl.DataFrame, history: History) -> pl.Series:
    each = valid_rows(rinses, history.register, "vehicle_classes", ["water_per_rinse"])
    return each["water_per_rinse"] * rinses["rinses"]


def counted_in_charges(history: History, charges: pl.DataFrame) -> pl.DataFrame:
    """Return at each counter value what ran through its charge since the first one in it.

    Returns:
        A frame sorted by (tank, at) of ``tank``, ``at``, ``number`` (of the charge),
        ``water_counted`` [L], null from where the counter went backwards on, and
        ``water_logged`` [L], null from where a rinse without litres lies in between on. Both are
        null at the first value of a charge, where there is nothing in between.
    """
    log = counter_log(history)
    numbered = log.with_columns(charge_at(log.select("tank", "at"), charges, ["number"]))
    in_charge = numbered.with_columns(pl.struct("tank", "number").rle_id().alias("stretch"))
    went_back = (pl.col("counter").diff() < 0).fill_null(False).cum_sum().over("stretch") > 0
    later = pl.int_range(pl.len()).over("stretch") > 0
    counted, logged, unlogged = map(_since_first, ("counter", "logged", "unlogged"))
    return in_charge.select(
        "tank",
        "at",
        "number",
        pl.when(later & ~went_back).then(counted.round(LITRE_DECIMALS)).alias("water_counted"),
        pl.when(later & (unlogged == 0)).then(logged.round(LITRE_DECIMALS)).alias("water_logged"),
    )


def _since_first(name: str) -> pl.Expr:
    return (pl.col(name) - pl.col(name).first()).over("stretch")
