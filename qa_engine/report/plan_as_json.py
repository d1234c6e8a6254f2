"""A forecast as JSON: the same bytes for the same forecast, a line for each row."""

from collections.abc import Iterator, Mapping
from datetime import date
from typing import Any

import polars as pl

import qa_engine
from qa_engine.report.plan import Plan
from qa_engine.report.plan_sentences import plan_headline
from qa_engine.wording import plain_json, rfc3339

VERSION = 1
DIGITS = 6
"""Digits that count of every number; a forecast knows fewer."""


def plan_json(plan: Plan) -> str:
    """Return the report as JSON text, ending with a line feed."""
    return "".join(_pieces(plan))


def _pieces(plan: Plan) -> Iterator[str]:
    head = (f'"{name}": {plain_json(value)}' for name, value in _head(plan).items())
    yield "{\n" + ",\n".join(head)
    for name, table in _tables(plan).items():
        rows = ",\n".join(plain_json(_plain(row)) for row in table.iter_rows(named=True))
        yield f',\n"{name}": ' + (f"[\n{rows}\n]" if rows else "[]")
    yield "\n}\n"


def _head(plan: Plan) -> dict[str, Any]:
    found, prices = plan.forecast, plan.forecast.prices
    priced = prices and {
        "currency": prices.currency,
        "resin": dict(prices.resin) if isinstance(prices.resin, Mapping) else prices.resin,
        "call_back": prices.call_back,
        "early_change": prices.early_change,
    }
    return {
        "forecast": VERSION,
        "as_of": rfc3339(found.as_of),
        "today": str(found.today),
        "until": str(found.day(found.days)),
        "complete": plan.exit_status == 0,
        "engine": {"version": qa_engine.__version__},
        "says": plan_headline(plan),
        "prices": priced,
        "stock_service_level": plan.stock.service_level,
        "jobs_risk": plan.bookings and plan.bookings.risk,
        "jobs_before_today": plan.bookings and plan.bookings.before_today,
        "notes": [*found.notes, *plan.tally.notes],
    }


def _tables(plan: Plan) -> dict[str, pl.DataFrame]:
    tables = {
        "tanks": plan.forecast.tanks,
        "rinses_left": plan.forecast.rinses,
        "stock": plan.stock.weeks,
        "not_in_stock": plan.stock.uncounted,
        "calendar": plan.calendar,
    }
    if plan.bookings is not None:
        tables |= {"jobs": plan.bookings.jobs, "changes_for_jobs": plan.bookings.changes}
    return tables


def _plain(row: Mapping[str, Any]) -> dict[str, Any]:
    return {name: _plain_value(value) for name, value in row.items()}


def _plain_value(value: Any) -> Any:
    if isinstance(value, float):
        return float(f"{value:.{DIGITS}g}")
    return str(value) if isinstance(value, date) else value
