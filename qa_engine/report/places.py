"""Where a finding is, in words."""

import polars as pl

from qa_engine.facts import SUBJECTS
from qa_engine.subjects import item_of

ITEM_WORDS = {kind: f"{item_of(kind)} " for kind in SUBJECTS if item_of(kind) != "item"}
"""What an item is called before its name, by the kind of subject."""


def place() -> pl.Expr:
    """Return where a finding is, in words: the van and tank, or the meter, base or source."""
    van = pl.when(pl.col("van").is_not_null()).then(pl.lit("van ") + pl.col("van") + pl.lit(", "))
    tank = van.otherwise(pl.lit("")) + pl.lit("tank ") + pl.col("tank")
    named = pl.col("subject_kind").replace_strict(ITEM_WORDS, default="", return_dtype=pl.String)
    return tank.fill_null(named + pl.col("item"))
