"""The findings as CSV, a row each, for people who go on in a spreadsheet."""

import polars as pl

from qa_engine.report.outcome import Report

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")
"""What a spreadsheet takes for the beginning of a formula."""


def csv_report(report: Report) -> str:
    """Return the findings as CSV text; lists are separated by spaces."""
    findings = report.inspection.findings
    lists = [name for name, dtype in findings.schema.items() if dtype == pl.List(pl.String)]
    instants = pl.col("since", "until", "closed_at").dt.strftime("%Y-%m-%dT%H:%M:%S%.fZ")
    table = findings.with_columns(instants, pl.col(lists).list.join(" "))
    return spreadsheet(table)


def spreadsheet(table: pl.DataFrame) -> str:
    """Return a table as CSV text in which no cell is taken for a formula."""
    return table.with_columns(_harmless(name) for name in _texts(table)).write_csv()


def _texts(table: pl.DataFrame) -> list[str]:
    return [name for name, dtype in table.schema.items() if dtype == pl.String]


def _harmless(name: str) -> pl.Expr:
    """Return texts that a spreadsheet does not take for formulas."""
    column = pl.col(name)
    risky = column.str.slice(0, 1).is_in(FORMULA_STARTS)
    return pl.when(risky).then(pl.lit("'") + column).otherwise(column).alias(name)
