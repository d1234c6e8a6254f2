"""The inlet water of a tank at an instant, and what the resin models say of it."""

from collections.abc import Callable, Mapping
from dataclasses import fields

import numpy as np
import polars as pl

from qa_engine.depletion.model import Floats, ResinModel, Water
from qa_engine.history import History, latest, valid_rows

ANALYSED = {
    "hardness_mg_l": "hardness",
    "alkalinity_mg_l": "alkalinity",
    "ph": "ph",
    "silica_mg_l": "silica",
}
READ = ("tds_mg_l", "conductivity_us_cm", "factor")
BEHIND_ANOTHER = ("polish", "anion")
"""Positions in the register of tanks that other tanks feed."""


def inlet_readings(history: History) -> pl.DataFrame:
    """Return the readings of inlet water, sorted by (tank, at), with the factor of their meter.

    Conductivity is kept as the meter shows it, which is at 25 degC for meters that compensate.
    """
    columns = ("tank", "at", "inlet_tds", "inlet_conductivity", "meter", "source")
    readings = history.of("reading", *columns)
    shown = pl.col("inlet_tds").is_not_null() | pl.col("inlet_conductivity").is_not_null()
    readings = readings.filter(shown)
    factor = valid_rows(readings, history.register, "meters", ["factor"])["factor"]
    return readings.select(
        "tank",
        "at",
        pl.col("inlet_tds").alias("tds_mg_l"),
        pl.col("inlet_conductivity").alias("conductivity_us_cm"),
        factor,
        pl.col("source").alias("read_at"),
    )


def inlet_at(subjects: pl.DataFrame, history: History) -> pl.DataFrame:
    """Return the inlet water of each subject's tank at its instant, row for row beside them.

    It is the tank's latest reading of inlet water, and the latest analysis of the source that the
    subject names or, failing that, the reading. A reading at one named source says nothing of the
    water from another; then, and where there is no reading, the analysis gives the conductivity.

    A tank that the register has behind another one gets what that one lets through, and only its
    own readings tell that: no analysis is taken for a ``polish`` tank, and for an ``anion`` vessel
    all of it but the conductivity, since a cation vessel changes nothing else that counts.

    Args:
        subjects: has ``tank`` and ``at``; perhaps ``source``.
        history: the records to look in.

    Returns:
        A frame of the fields of ``Water``, null where unknown.
    """
    read = latest(subjects, inlet_readings(history), by="tank", take=[*READ, "read_at"])
    unnamed = pl.lit(None, pl.String).alias("source")
    named = subjects.select("at", "source" if "source" in subjects.columns else unnamed)
    asked = pl.concat([named, read], how="horizontal").with_columns(
        pl.when((pl.col("source") == pl.col("read_at")) | _either_is_null("source", "read_at"))
        .then(pl.col(name))
        .alias(name)
        for name in READ
    )
    asked = asked.with_columns(pl.coalesce("source", "read_at").alias("source"))
    analysis = _analysis(asked, _behind_another(subjects, history), history)
    return pl.concat([asked, analysis], how="horizontal").select(
        "tds_mg_l",
        pl.when(pl.all_horizontal(pl.col("tds_mg_l", "conductivity_us_cm").is_null()))
        .then("conductivity")
        .otherwise("conductivity_us_cm")
        .alias("conductivity_us_cm"),
        "factor",
        *(pl.col(name).alias(field) for field, name in ANALYSED.items()),
    )


def _either_is_null(*names: str) -> pl.Expr:
    """Tell whether any of the columns is null."""
    return pl.any_horizontal(pl.col(name).is_null() for name in names)


def _behind_another(subjects: pl.DataFrame, history: History) -> pl.Series:
    """Return the position of each subject's tank where it gets another tank's water, else null."""
    positions = history.register.table("tanks")["position"]
    if not positions.is_in(BEHIND_ANOTHER).any():
        return pl.Series("position", [None], pl.String).new_from_index(0, subjects.height)
    held = valid_rows(subjects, history.register, "tanks", ["position"])
    behind = pl.col("position").is_in(BEHIND_ANOTHER)
    return held.select(pl.when(behind).then("position"))["position"]


def _analysis(asked: pl.DataFrame, behind: pl.Series, history: History) -> pl.DataFrame:
    """Return what the latest analysis of the source says of the water at each tank."""
    take = ["conductivity", *ANALYSED.values()]
    analyses = history.of("water_analysis", "source", "at", *take)
    found = latest(asked, analyses, by="source", take=take).with_columns(behind.alias("behind"))
    counts = pl.col("behind").ne_missing("polish")
    return found.select(
        pl.when(pl.col("behind").is_null()).then("conductivity").alias("conductivity"),
        *(pl.when(counts).then(name).alias(name) for name in ANALYSED.values()),
    )


def load_of(waters: pl.DataFrame, grades: pl.Series, models: Mapping[str, ResinModel]) -> pl.Series:
    """Return what a litre of each water spends in resin of each grade [eq/L].

    Null where no model speaks for the grade, where none of TDS, conductivity and hardness is known,
    and where a model gives no positive number. Each model is asked once.
    """
    asked = waters.with_columns(grades.alias("grade"))
    run = asked.select(pl.struct(pl.all()).rle_id()).to_series()
    # Water is read less often than vehicles are rinsed: ask once for each stretch of like rows.
    first = run.diff().ne_missing(0)
    load = _asked(
        waters.filter(first),
        grades.filter(first),
        models,
        lambda model, water, rows: model.load_eq_l(water),
    )
    return load.to_frame("load_eq_l").select(
        pl.when(pl.col("load_eq_l") > 0).then(pl.col("load_eq_l")).gather(run)
    )["load_eq_l"]


def outlet_of(
    waters: pl.DataFrame,
    grades: pl.Series,
    models: Mapping[str, ResinModel],
    used_fraction: pl.Series,
    flow_bv_h: pl.Series,
) -> pl.Series:
    """Return what the meter should show at the outlet [mg/L], by the model of each grade.

    Args:
        waters: the inlet waters, as ``inlet_at`` returns them.
        grades: the grade of resin that each water runs through.
        models: the resin models by grade.
        used_fraction: equivalents spent over capacity [1]; null where unknown, and so the outlet.
        flow_bv_h: flow in bed volumes per hour [1/h]; null where unknown.
    """
    used, flow = used_fraction.to_numpy(), flow_bv_h.to_numpy()
    known = grades.to_frame().select(pl.when(used_fraction.is_not_null()).then(pl.first()))
    return _asked(
        waters,
        known.to_series(),
        models,
        lambda model, water, rows: model.outlet_mg_l(used[rows], water, flow[rows]),
    )


def _asked(
    waters: pl.DataFrame,
    grades: pl.Series,
    models: Mapping[str, ResinModel],
    question: Callable[[ResinModel, Water, Floats], Floats],
) -> pl.Series:
    """Return each model's answer for the waters in its grade; null where not finite."""
    answer = np.full(waters.height, np.nan)
    read = pl.col("tds_mg_l", "conductivity_us_cm", "hardness_mg_l").is_not_null()
    known = waters.select(pl.any_horizontal(read)).to_series()
    for grade, model in models.items():
        rows = ((grades == grade) & known).fill_null(False).to_numpy()
        if rows.any():
            answer[rows] = question(model, _water(waters.filter(rows)), rows)
    finite = np.where(np.isfinite(answer), answer, np.nan)
    return pl.Series(finite, nan_to_null=True)


def _water(waters: pl.DataFrame) -> Water:
    return Water(**{field.name: waters[field.name].to_numpy() for field in fields(Water)})
