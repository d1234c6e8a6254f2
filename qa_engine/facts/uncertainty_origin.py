"""Where the uncertainty of a reading comes from, in words; or why it is not known."""

import polars as pl

from qa_engine.facts.uncertainty_budget import Budget
from qa_engine.uncertainty import (
    COEFFICIENT_HALF_WIDTH_PER_K,
    COEFFICIENT_PER_K,
    COLDEST_DEGC,
    FACTOR_HALF_WIDTH,
    USUAL_FACTOR,
)

SLOPE = f"{COEFFICIENT_PER_K * 100:g} +/- {COEFFICIENT_HALF_WIDTH_PER_K * 100:g} % per degC"
FACTORS = f"{USUAL_FACTOR - FACTOR_HALF_WIDTH:g} to {USUAL_FACTOR + FACTOR_HALF_WIDTH:g}"

METER = pl.lit("meter ") + pl.col("meter")
NOTHING = pl.lit("")


def origin_of(budget: Budget) -> pl.Series:
    """Return where each uncertainty of a budget comes from, or why it is not known."""
    known = budget.total().is_not_null()
    origin = pl.concat_str(
        _data_sheet(), _check(), _temperature(), _factor() if budget.is_tds else NOTHING
    )
    return budget.inputs.select(origin=pl.when(known).then(origin).otherwise(_why_unknown()))[
        "origin"
    ]


def _number(name: str, digits: int = 4) -> pl.Expr:
    return pl.col(name).round_sig_figs(digits).cast(pl.String).str.strip_suffix(".0")


def _data_sheet() -> pl.Expr:
    percent = (_number("accuracy_percent") + pl.lit(" % of reading")).fill_null("0 % of reading")
    step = pl.lit(" of ") + _number("resolution") + pl.lit(" mg/L")
    digits = pl.lit(" + ") + _number("accuracy_digits") + _digits() + step
    alone = pl.lit(" and steps") + step
    counted = pl.col("accuracy_digits").fill_null(0.0) > 0
    return (
        METER
        + pl.lit(" in the register: ")
        + percent
        + pl.when(counted).then(digits).otherwise(alone)
    )


def _digits() -> pl.Expr:
    return (
        pl.when(pl.col("accuracy_digits") == 1).then(pl.lit(" digit")).otherwise(pl.lit(" digits"))
    )


def _check() -> pl.Expr:
    off = pl.lit(" found it ") + _number("off", 2) + pl.lit(" % off, more than that")
    found = pl.lit("; check ") + pl.col("check")
    return (
        pl.when(pl.col("check").is_null())
        .then(pl.lit("; no check on record, so taken at its word"))
        .when(pl.col("beyond"))
        .then(found + off)
        .otherwise(found + pl.lit(" found it within that"))
    )


def _temperature() -> pl.Expr:
    logged = pl.col("water_temperature").is_not_null()
    at = pl.lit("; at ") + _number("water_temperature") + pl.lit(" degC")
    return (
        pl.when(~pl.col("compensation"))
        .then(at + pl.lit(" not compensated"))
        .when(logged)
        .then(at + pl.lit(f" compensated by {SLOPE}"))
        .otherwise(pl.lit(f"; water temperature not logged, reckoned as {COLDEST_DEGC:g} degC"))
    )


def _factor() -> pl.Expr:
    unstated = pl.lit(f"; factor not in the register, reckoned as {FACTORS}")
    return pl.when(pl.col("factor").is_null()).then(unstated).otherwise(NOTHING)


def _why_unknown() -> pl.Expr:
    unstated = pl.col("accuracy_percent").is_null() & pl.col("accuracy_digits").is_null()
    register = pl.lit("the register does not say ")
    return (
        pl.when(pl.col("shown").is_null())
        .then(pl.lit("nothing was read"))
        .when(pl.col("meter").is_null())
        .then(pl.lit("no meter was logged with the reading"))
        .when(pl.col("holds_from").is_null())
        .then(METER + pl.lit(" was not in the register then"))
        .when(unstated | pl.col("resolution").is_null())
        .then(register + pl.lit("how accurate and how fine ") + METER + pl.lit(" is"))
        .when(pl.col("compensation").is_null())
        .then(register + pl.lit("whether ") + METER + pl.lit(" compensates for temperature"))
        .otherwise(METER + pl.lit(" does not compensate and the temperature was not logged"))
    )
