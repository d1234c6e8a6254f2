"""Resin to have in a forecast's report: litres of each grade at each base, week by week."""

from collections.abc import Iterator
from datetime import date

import polars as pl
from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from qa_engine.forecast.stock import Stock
from qa_engine.forecast.whynot import WHY_NOT
from qa_engine.report.sentences import listed

NO_BASE = "no base known"
SHOWN_WEEKS = 6
"""How many of the weeks are shown: the first ones, and the last one always."""


def stock_section(stock: Stock) -> Iterator[RenderableType]:
    """Yield the section on resin to have, without its title."""
    if stock.weeks.height:
        yield _table(stock.weeks)
        yield Text(
            f"Litres until the end of that day that suffice with {stock.service_level:.0%}; in "
            "brackets the mean. What is in the tanks now is not in them, what the base holds is "
            "not taken off.",
            style="dim",
        )
    for (why,), some in stock.uncounted.group_by("why_not", maintain_order=True):
        yield Text(f"  Comes on top: {listed(some['tank'])}, since {WHY_NOT[str(why)]}")


def shown_weeks(weeks: pl.DataFrame) -> list[date]:
    """Return the ends of the weeks that a table has room for."""
    ends: list[date] = weeks["until"].unique().sort().to_list()
    return ends if len(ends) <= SHOWN_WEEKS else [*ends[: SHOWN_WEEKS - 1], ends[-1]]


def _table(weeks: pl.DataFrame) -> RenderableType:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for name in ("base", "grade"):
        table.add_column(name, overflow="fold")
    table.add_column("tanks", justify="right")
    ends = shown_weeks(weeks)
    for end in ends:
        table.add_column(f"to {end.day} {end:%b}", justify="right")
    for own in weeks.partition_by("base", "grade", maintain_order=True):
        litres = {row["until"]: row for row in own.iter_rows(named=True)}
        cells = (f"{litres[e]['litres']:,.0f} ({litres[e]['litres_mean']:,.0f})" for e in ends)
        first = own.row(0, named=True)
        table.add_row(first["base"] or NO_BASE, first["grade"], str(first["tanks"]), *cells)
    return table
