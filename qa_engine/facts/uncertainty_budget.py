"""What makes up the uncertainty of a reading, part by part, for whole columns.

Choices that no source makes for us, each the cautious reading:

- A data sheet's percentage and digits are added. Where it states no digits, or less than one, the
  step of the display counts by itself.
- A last check that found the meter further off than its data sheet allows adds what it found, as
  the half-width of a rectangular distribution. A meter without a check is taken at its word; that
  it must be checked is a matter for a rule of its own.
- Where the meter compensates and the water's temperature is not logged, the water is reckoned as
  cold as water can be. Otherwise whoever logs less would be surer.
- Where the meter does not compensate, all of what 25 degC would change is added.
"""

from dataclasses import dataclass

import polars as pl

from qa_engine.facts.meter_facts import expected_in_standard
from qa_engine.facts.past import Past
from qa_engine.history import latest, valid_rows
from qa_engine.uncertainty import (
    COEFFICIENT_HALF_WIDTH_PER_K,
    COEFFICIENT_PER_K,
    COLDEST_DEGC,
    FACTOR_HALF_WIDTH,
    REFERENCE_DEGC,
    USUAL_FACTOR,
    combined,
    of_resolution,
    rectangular,
    slope_at_25,
    specified_half_width,
)

BUDGET_INPUTS = ("meter", "water_temperature")
"""What a reading must bring besides its value and its instant."""

OF_METER = ("holds_from", "accuracy_percent", "accuracy_digits", "resolution", "factor")
PARTS = ("percent", "digits", "display", "check", "temperature", "factor")


@dataclass(frozen=True)
class Budget:
    """The parts of the standard uncertainty of some readings, in the unit of the reading.

    Attributes:
        parts: ``percent`` and ``digits`` of the data sheet, ``display`` (its step), ``check``,
            ``temperature`` and ``factor``; null where it is not known.
        inputs: what they were made of, row for row.
        is_tds: whether the readings are TDS rather than conductivity.
    """

    parts: pl.DataFrame
    inputs: pl.DataFrame
    is_tds: bool

    def filter(self, kept: pl.Series) -> "Budget":
        """Return the budget of some of the readings."""
        return Budget(self.parts.filter(kept), self.inputs.filter(kept), self.is_tds)

    def total(self) -> pl.Series:
        """Return the combined standard uncertainty, null where a part is not known."""
        return self.parts.select(without())["without"]


def without(*left_out: str) -> pl.Expr:
    """Return the standard uncertainty that is left without some parts."""
    first, *others = (pl.col(name) for name in PARTS if name not in left_out)
    return combined(first, *others).alias("without")


def budget_of(readings: pl.DataFrame, value: str, unit: str, past: Past) -> Budget:
    """Return what makes up the uncertainty of readings.

    Args:
        readings: has ``at``, the inputs of a budget and the value.
        value: the column that the meter showed.
        unit: its unit, mg/L or uS/cm.
        past: the register and the checks of meters.
    """
    meters = valid_rows(readings, past.register, "meters", [*OF_METER, "compensation"])
    frame = readings.select("meter", "at", "water_temperature", shown=pl.col(value))
    checks = latest(frame, checks_of(past), by="meter", take=["off", "check", "beyond"])
    inputs = pl.concat([frame, meters, checks], how="horizontal")
    is_tds = unit == "mg/L"
    return Budget(inputs.select(*_parts(is_tds=is_tds)), inputs, is_tds)


def _parts(*, is_tds: bool) -> list[pl.Expr]:
    shown, percent, digits = (pl.col(n) for n in ("shown", "accuracy_percent", "accuracy_digits"))
    step = pl.col("resolution")
    if not is_tds:
        step = step / pl.col("factor").fill_null(USUAL_FACTOR - FACTOR_HALF_WIDTH)
    # Together with the percentage the digits are one half-width, a whole digit with the step of
    # the display inside it; what exceeds the shares of these two is that of the digits.
    of_percent = rectangular(shown * percent.fill_null(0.0) / 100)
    whole = rectangular(
        specified_half_width(shown, percent.fill_null(0.0), digits.fill_null(0.0), step)
    )
    display = of_resolution(step)
    inside = pl.when(digits >= 1).then(display).otherwise(0.0)
    stated = percent.is_not_null() | digits.is_not_null()
    of_digits = whole * whole - of_percent * of_percent - inside * inside
    off = pl.when("beyond").then("off").otherwise(0.0)
    of_check = rectangular(shown * off / 100)
    of_factor = pl.lit(0.0)
    if is_tds:
        of_factor = pl.when(pl.col("factor").is_null()).then(
            rectangular(shown * FACTOR_HALF_WIDTH / USUAL_FACTOR)
        )
    return [
        pl.when(stated).then(of_percent).alias("percent"),
        pl.when(stated).then(of_digits.clip(0.0).sqrt()).alias("digits"),
        display.alias("display"),
        of_check.alias("check"),
        (shown * _of_temperature()).alias("temperature"),
        of_factor.fill_null(0.0).alias("factor"),
    ]


def _of_temperature() -> pl.Expr:
    """Return what compensation or its lack adds, relative to the reading."""
    compensates, logged = pl.col("compensation"), pl.col("water_temperature")
    degc = pl.when(compensates).then(logged.fill_null(COLDEST_DEGC)).otherwise(logged)
    slope = slope_at_25(degc, pl.lit(COEFFICIENT_PER_K))
    half_width = (degc - REFERENCE_DEGC).abs() * COEFFICIENT_HALF_WIDTH_PER_K / slope
    of_coefficient = rectangular(half_width)
    left_out = rectangular((1.0 / slope - 1.0).abs())
    return (
        pl.when(compensates)
        .then(of_coefficient)
        .when(~compensates)
        .then(combined(of_coefficient, left_out))
    )


def checks_of(past: Past) -> pl.DataFrame:
    """Return every check that tells how far off a meter was left, in order of (meter, at)."""
    columns = ("standard_conductivity", "shown_before", "shown_after", "water_temperature")
    checks = past.history.of("meter_check", "meter", "at", "record", *columns)
    meters = valid_rows(checks, past.register, "meters", list(OF_METER))
    left_at = pl.coalesce("shown_after", "shown_before")
    expected = expected_in_standard(checks, past).alias("expected")
    step = pl.col("resolution") / pl.col("factor")
    of_digits = (pl.col("accuracy_digits") * step / pl.col("expected") * 100).fill_null(0.0)
    allowed = pl.col("accuracy_percent").fill_null(0.0) + of_digits
    frame = pl.concat([checks, meters, expected.to_frame()], how="horizontal")
    frame = frame.with_columns(off=(left_at - pl.col("expected")).abs() / pl.col("expected") * 100)
    return frame.filter(pl.col("off").is_finite()).select(
        "meter", "at", "off", pl.col("record").alias("check"), beyond=pl.col("off") > allowed
    )
