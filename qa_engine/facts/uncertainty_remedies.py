"""What the uncertainty of a reading would be, had more been logged, read or checked."""

import polars as pl

from qa_engine.facts.uncertainty_budget import Budget, without


def remedies_of(budget: Budget) -> pl.DataFrame:
    """Return what each uncertainty of a budget would be after a remedy, in its own unit.

    Returns:
        A frame of ``digits`` (what repeating averages out), ``steady`` (what it does not; the step
        of the display stays, since a steady water shows the same step again), ``logged`` (what is
        left once all that is lacking is logged, as ``to log`` says; null where nothing lacks),
        ``logged steady`` (what of that repeating does not average out) and ``checked`` (what is
        left once the meter is adjusted; null where its last check found it good).
    """
    temperature = pl.col("compensation") & pl.col("water_temperature").is_null()
    factor = pl.col("factor") > 0  # it has a part only where the register leaves it open
    to_log = pl.concat_str(
        pl.when(temperature).then(pl.lit("read again and log the water temperature")),
        pl.when(factor).then(pl.lit("enter the meter's factor in the register")),
        separator=" and ",
        ignore_nulls=True,
    )

    def once_logged(*left_out: str) -> pl.Expr:
        fully = pl.when(temperature).then(without("temperature", "factor", *left_out))
        return fully.when(factor).then(without("factor", *left_out))

    told = budget.inputs.select("compensation", "water_temperature")
    return budget.parts.with_columns(told).select(
        "digits",
        without("digits").alias("steady"),
        once_logged().alias("logged"),
        once_logged("digits").alias("logged steady"),
        to_log.alias("to log"),
        pl.when(pl.col("check") > 0).then(without("check")).alias("checked"),
    )
