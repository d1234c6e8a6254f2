"""A comparison of editions as CSV: the counts by place, or every subject that changes."""

import polars as pl

from qa_engine.preview import WINDOWS
from qa_engine.report.as_csv import spreadsheet
from qa_engine.report.comparison import Comparison

COLUMNS = (
    "about",
    "rule_set",
    "rule",
    "grading",
    "subject_kind",
    "settled_by",
    "van",
    "tank",
    "item",
    "change",
    "was",
    "becomes",
    *WINDOWS,
)
"""Of the counts: ``about`` is ``verdicts`` or ``work``, and so says what was counted."""


def comparison_csv(comparison: Comparison) -> str:
    """Return how often each change happens, by rule, van and tank, then the work by place."""
    preview = comparison.preview
    verdicts = preview.changes_by_place.with_columns(about=pl.lit("verdicts"))
    work = preview.work_by_place.rename({"on": "item", "what": "change"})
    table = pl.concat([verdicts, work.with_columns(about=pl.lit("work"))], how="diagonal_relaxed")
    return spreadsheet(table.select(COLUMNS))


def changes_csv(comparison: Comparison) -> str:
    """Return every subject whose outcome changes, a row each."""
    at = pl.col("at").dt.strftime("%Y-%m-%dT%H:%M:%S%.fZ")
    return spreadsheet(comparison.preview.changes.with_columns(at))
