"""Facts about meters: how long ago one was checked, and how far off the standard it was."""

import polars as pl

from qa_engine.facts.days import age_of_latest, days_until, local_day
from qa_engine.facts.fact import Fact, FactGroup
from qa_engine.facts.past import Past
from qa_engine.history import valid_rows

SLOPE_PER_DEGC = 0.02
"""Rise of conductivity with temperature, from 25 degC [1/degC]; common practice, no published
source."""

REFERENCE_DEGC = 25.0
"""The temperature that a standard's conductivity is stated for [degC]."""

GREATEST_DEGC = 50.0
"""The warmest solution that the straight line is used for [degC]."""


def _meter_check_age(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    checks = past.history.of("meter_check", "meter", "at", "record")
    return age_of_latest(subjects, checks, by="meter", name="meter_check_age")


def _meter_errors(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    expected = expected_in_standard(subjects, past)
    return subjects.select(
        _error("shown_before", expected).alias("meter_error"),
        _error("shown_after", expected).alias("meter_error_after"),
        pl.col("record").alias("evidence"),
    )


def expected_in_standard(subjects: pl.DataFrame, past: Past) -> pl.Series:
    """Return what a true meter shows in the standard [uS/cm]; null if that cannot be told."""
    meters = valid_rows(subjects, past.register, "meters", ["compensation"])
    degc, stated = pl.col("water_temperature"), pl.col("standard_conductivity")
    factor = (
        pl.when(pl.col("compensation"))
        .then(1.0)
        .when(~pl.col("compensation") & (degc <= GREATEST_DEGC))
        .then(1 + SLOPE_PER_DEGC * (degc - REFERENCE_DEGC))
    )
    return subjects.with_columns(meters["compensation"]).select(
        pl.when(stated > 0).then(stated * factor).alias("expected")
    )["expected"]


def _error(shown: str, expected: pl.Series) -> pl.Expr:
    return (pl.col(shown) - expected).abs() / expected * 100


def _use_by(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    today = local_day(subjects["at"], past.register.zone)
    return subjects.select(
        days_until(subjects["standard_use_by"], today).alias("standard_use_by_in"),
        pl.col("record").alias("evidence"),
    )


METER_FACTS = (
    FactGroup(
        ("meter", "reading"),
        (
            Fact(
                "meter_check_age",
                "number",
                "days since this meter was last held against a standard",
                "d",
                low=0,
                per_day=1,
                looks_at=(
                    "meter",
                    "meter_check.meter",
                ),
            ),
        ),
        _meter_check_age,
        reads=("meter_check",),
    ),
    FactGroup(
        ("meter_check",),
        (
            Fact(
                "meter_error",
                "number",
                "how far the meter was off the standard before any adjustment, of what it should "
                "have shown at that temperature",
                "%",
                low=0,
                looks_at=(
                    "standard_conductivity",
                    "shown_before",
                    "meters.compensation",
                    "water_temperature",
                ),
            ),
            Fact(
                "meter_error_after",
                "number",
                "how far the meter was off the standard after any adjustment, of what it should "
                "have shown at that temperature",
                "%",
                low=0,
                looks_at=(
                    "standard_conductivity",
                    "shown_after",
                    "meters.compensation",
                    "water_temperature",
                ),
            ),
        ),
        _meter_errors,
        reads=(),
    ),
    FactGroup(
        ("meter_check",),
        (
            Fact(
                "standard_use_by_in",
                "number",
                "days from the check to the last day on which the standard may be used, negative "
                "if it had expired",
                "d",
                per_day=-1,
                looks_at=("meter_check.standard_use_by",),
            ),
        ),
        _use_by,
        reads=(),
    ),
)
