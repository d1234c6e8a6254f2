"""The uncertainty of very many readings: per row of the register, a few numbers tell it all.

``u^2 = y^2 (a + c^2 + g (dT / slope)^2) + y b + d``, with a, b, d and g from the meter's row in the
register, c from its last check and dT from the water. It is the sum of squares of the parts that
``uncertainty_budget`` tells one by one; a property test holds the two equal.
"""

from dataclasses import replace

import polars as pl

from qa_engine.facts.past import Past
from qa_engine.facts.uncertainty_budget import checks_of
from qa_engine.history import latest, valid_rows
from qa_engine.uncertainty import (
    COEFFICIENT_HALF_WIDTH_PER_K,
    COEFFICIENT_PER_K,
    COLDEST_DEGC,
    FACTOR_HALF_WIDTH,
    REFERENCE_DEGC,
    USUAL_FACTOR,
)

OF_ROW = ("squared", "linear", "constant", "of warmth", "coldest", "ever beyond")


def total_of(readings: pl.DataFrame, value: str, unit: str, past: Past) -> pl.DataFrame:
    """Return the standard uncertainty of readings, and the check that adds to it.

    Args:
        readings: has ``at``, ``meter``, ``water_temperature`` and the value.
        value: the column that the meter showed.
        unit: its unit, mg/L or uS/cm.
        past: the register and the checks of meters.

    Returns:
        A frame of ``total``, null where it is not known, and ``check``, row for row.
    """
    checks = checks_of(past)
    meters = past.register.table("meters").with_columns(_of_row(checks, is_tds=unit == "mg/L"))
    register = replace(past.register, tables={**past.register.tables, "meters": meters})
    rows = valid_rows(readings, register, "meters", OF_ROW)
    off = _off(readings, rows["ever beyond"], checks)
    away = pl.col("water_temperature").fill_null(pl.col("coldest")) - REFERENCE_DEGC
    steep = away / (away * COEFFICIENT_PER_K + 1.0)
    shown = pl.col(value)
    squares = pl.col("squared") + pl.col("of warmth") * steep * steep
    if off is not None:
        squares += (pl.col("off") * pl.col("off") / 3e4).fill_null(0.0)
    total = (shown * (shown * squares + pl.col("linear")) + pl.col("constant")).sqrt()
    frame = readings.select(value, "water_temperature").with_columns(rows)
    frame = frame if off is None else frame.with_columns(off)
    check = pl.lit(None, pl.String) if off is None else pl.col("check")
    # Lazily, so that what stands in the sum twice is worked out once.
    return frame.lazy().select(total.alias("total"), check.alias("check")).collect()


def _of_row(checks: pl.DataFrame, *, is_tds: bool) -> list[pl.Expr]:
    """Return what a row of the register makes of a reading, as columns of the register."""
    stated = pl.col("accuracy_percent").is_not_null() | pl.col("accuracy_digits").is_not_null()
    percent = pl.col("accuracy_percent").fill_null(0.0) / 100
    digits, step = pl.col("accuracy_digits").fill_null(0.0), pl.col("resolution")
    of_factor = pl.lit(0.0)
    if is_tds:
        unstated = FACTOR_HALF_WIDTH / USUAL_FACTOR
        of_factor = pl.when(pl.col("factor").is_null()).then(unstated**2).otherwise(0.0)
    else:
        step = step / pl.col("factor").fill_null(USUAL_FACTOR - FACTOR_HALF_WIDTH)
    outside = pl.when(digits < 1).then(step * step / 12).otherwise(0.0)
    left_out = pl.when("compensation").then(0.0).when(~pl.col("compensation")).then(1.0)
    of_warmth = COEFFICIENT_HALF_WIDTH_PER_K**2 + left_out * COEFFICIENT_PER_K**2
    beyond = checks.filter("beyond")["meter"].unique().to_list()
    return [
        pl.when(stated).then((percent * percent + of_factor) / 3).alias("squared"),
        (percent * digits * step * 2 / 3).alias("linear"),
        (digits * digits * step * step / 3 + outside).alias("constant"),
        (of_warmth / 3).alias("of warmth"),
        pl.when("compensation").then(COLDEST_DEGC).alias("coldest"),
        pl.col("meter").is_in(beyond).alias("ever beyond"),
    ]


def _off(readings: pl.DataFrame, concerned: pl.Series, checks: pl.DataFrame) -> pl.DataFrame | None:
    """Return how far beyond its data sheet each meter was when last checked; None if none ever was.

    Few meters ever are; only the readings of those are looked up.
    """
    concerned = concerned.fill_null(value=False)
    if not concerned.any():
        return None
    place = concerned.to_frame("c").select(pl.when("c").then(pl.col("c").cum_sum() - 1)).to_series()
    asked = readings.select("meter", "at").filter(concerned)
    found = latest(asked, checks, by="meter", take=["off", "check", "beyond"])
    told = found.select(
        pl.when("beyond").then(pl.col(name)).alias(name) for name in ("off", "check")
    )
    return told.select(pl.all().gather(place))
