"""Facts about the grade of resin in a tank: its name, and what the grade's model knows of it."""

from collections.abc import Mapping

import polars as pl

from qa_engine.depletion.model import ResinModel
from qa_engine.facts.fact import Fact, FactGroup
from qa_engine.facts.past import Past
from qa_engine.facts.register_facts import TANKISH


def grades_of(models: Mapping[str, ResinModel]) -> pl.DataFrame:
    """Return what the models know of their grades, a row per grade."""
    rows = [
        {
            "grade": name,
            "softening_bed": model.grade.bed == "softening",
            "lowers_tds": model.grade.lowers_tds,
            "grade_outlet_after": model.grade.outlet_after_change_mg_l,
            "grade_least_flow": model.grade.least_flow_bv_h,
            "grade_greatest_flow": model.grade.greatest_flow_bv_h,
            "capacity_eq_l": model.grade.capacity.mean_eq_l,
        }
        for name, model in models.items()
    ]
    numbers = ("grade_outlet_after", "grade_least_flow", "grade_greatest_flow", "capacity_eq_l")
    schema = {"grade": pl.String(), **dict.fromkeys(("softening_bed", "lowers_tds"), pl.Boolean())}
    return pl.DataFrame(rows, schema=schema | dict.fromkeys(numbers, pl.Float64()), orient="row")


def grade_rows(grades: pl.Series, models: Mapping[str, ResinModel]) -> pl.DataFrame:
    """Return the row of ``grades_of`` for each grade; ``softening_bed`` null where none speaks."""
    asked = grades.to_frame("grade")
    return asked.join(grades_of(models), on="grade", how="left", maintain_order="left")


def _charge(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    return past.charge_of(subjects).select(
        "grade", pl.col("known").alias("charge_known"), pl.col("record").alias("evidence")
    )


def _grade(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    charge = past.charge_of(subjects)
    told = pl.col("softening_bed").is_not_null()
    # While a plugin is missing, a grade without a model may be one that the plugin speaks for.
    silence_tells = pl.lit(past.models_complete) | pl.col("grade").is_null()
    return grade_rows(charge["grade"], past.models).select(
        pl.when(told).then("softening_bed").when(silence_tells).then(False).alias("softening_bed"),
        pl.when(told).then("lowers_tds").when(silence_tells).then(True).alias("lowers_tds"),
        pl.when(told | silence_tells).then(told).alias("grade_known"),
        "grade_outlet_after",
        "grade_least_flow",
        "grade_greatest_flow",
        charge["record"].alias("evidence"),
    )


GRADE_FACTS = (
    FactGroup(
        tuple(subject for subject in TANKISH if subject != "resin_change"),
        (
            Fact(
                "grade",
                "words",
                "grade of the resin in the tank, as logged at its change",
                looks_at=("resin_change.grade",),
            ),
            Fact(
                "charge_known",
                "yes/no",
                "the records tell when the resin in the tank was loaded",
                absent="no",
            ),
        ),
        _charge,
        reads=("resin_change",),
    ),
    FactGroup(
        TANKISH,
        (
            Fact(
                "softening_bed",
                "yes/no",
                "the model of this grade says that the bed only softens the water",
                absent="no",
                looks_at=("model",),
            ),
            Fact(
                "lowers_tds",
                "yes/no",
                "the bed takes salts out, so that the TDS of its outlet tells of the rinse; no "
                "where the model of this grade says that it does not, as of a softening bed or of "
                "the cation vessel of a pair, and yes where no model speaks for it",
                looks_at=("model",),
            ),
            Fact(
                "grade_known",
                "yes/no",
                "a loaded model speaks for this grade",
                absent="no",
                looks_at=("model",),
            ),
            Fact(
                "grade_outlet_after",
                "number",
                "the most that the outlet of this grade may read when fresh and flushed",
                "mg/L",
                low=0,
                looks_at=("model",),
            ),
            Fact(
                "grade_least_flow",
                "number",
                "least service flow of this grade",
                "BV/h",
                low=0,
                looks_at=("model",),
            ),
            Fact(
                "grade_greatest_flow",
                "number",
                "greatest service flow of this grade",
                "BV/h",
                low=0,
                looks_at=("model",),
            ),
        ),
        _grade,
        reads=("resin_change",),
        asks_models=True,
    ),
)
