"""A forecast as CSV, one table of it at a time, for people who go on in a spreadsheet."""

import polars as pl

from qa_engine.forecast.jobs import CHANGES, JOBS
from qa_engine.report.as_csv import spreadsheet
from qa_engine.report.plan import Plan

TABLES = ("tanks", "rinses", "jobs", "changes", "stock", "calendar")
"""The tables of a forecast; ``jobs`` and ``changes`` are there only where jobs were booked."""


def plan_csv(plan: Plan, table: str = "tanks") -> str:
    """Return one of ``TABLES`` as CSV text; the columns are those of the frames in a plan."""
    return spreadsheet(_tables(plan)[table])


def _tables(plan: Plan) -> dict[str, pl.DataFrame]:
    booked = plan.bookings
    return {
        "tanks": plan.forecast.tanks,
        "rinses": plan.forecast.rinses,
        "jobs": booked.jobs if booked else pl.DataFrame(schema=JOBS),
        "changes": booked.changes if booked else pl.DataFrame(schema=CHANGES),
        "stock": plan.stock.weeks,
        "calendar": plan.calendar,
    }
