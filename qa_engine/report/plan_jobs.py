"""Booked jobs in a forecast's report: whether each van gets through, and what would do."""

from collections.abc import Iterator
from typing import Any

import polars as pl
from rich.console import RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from qa_engine.forecast.jobs import NO_TANK, Bookings
from qa_engine.forecast.whynot import WHY_NOT
from qa_engine.forecast.work import OPENING
from qa_engine.report.plan_sentences import percent
from qa_engine.report.sentences import counted, day, sentence_case

SHOWN_CHANGES = 20
COLUMNS = ("day", "van", "vehicles", "weakest", "litres", "left 10 %", "left 50 %", "gets through")
LEFT_SIDE = 4
LEGEND = (
    "The day is the first one at risk, else the last one with jobs. Litres: what the van's jobs "
    "ask of its weakest tank from now to the end of that day; left: what that one gives until its "
    "outlet reaches the limit, at least so much with 90 and with 50 %. The list is taken for all "
    "the work of its vans: what is not in it comes on top."
)
NO_TANK_KNOWN = "no record and no register row says which tank stands in it."


def jobs_section(bookings: Bookings) -> Iterator[RenderableType]:
    """Yield the section on booked jobs, without its title."""
    days = decisive_days(bookings.jobs)
    if days.is_empty():
        yield Text("  No job of the list lies ahead.")
    else:
        yield _table(days)
        yield Text(f"At risk: with less than {percent(1 - bookings.risk)}. {LEGEND}", style="dim")
    changes = [*_changes(bookings)]
    for line in (*_unknown(bookings.jobs), *changes[:SHOWN_CHANGES], *_past(bookings)):
        yield _item(line)
    if (more := len(changes) - SHOWN_CHANGES) > 0:
        yield _item(f"and {counted(more, 'more change')}; --format json lists them all")
    if changes:
        yield Padding(Text(f"Caution: {OPENING}", style="italic"), (0, 0, 0, 2), expand=False)


def decisive_days(jobs: pl.DataFrame) -> pl.DataFrame:
    """Return a row per van: the first day on which it is at risk, else its last day with jobs."""
    risky = pl.col("at_risk").fill_null(value=False)
    decisive = pl.when(risky.any()).then(pl.col("date").filter(risky).min())
    day = decisive.otherwise(pl.col("date").max()).over("van")
    return by_day(jobs.filter(pl.col("date") == day))


def by_day(jobs: pl.DataFrame) -> pl.DataFrame:
    """Return a row per van and day, in the order of days, with its ``vehicles`` in words."""
    named = pl.concat_str(pl.col("count").cast(pl.Int64), pl.lit(" "), "vehicle_class")
    counts = jobs.group_by("date", "van", "vehicle_class").agg(pl.col("count").sum())
    told = counts.sort("vehicle_class").group_by("date", "van").agg(named.str.join(", "))
    days = jobs.unique(["date", "van"], keep="first", maintain_order=True)
    told = told.rename({"count": "vehicles"})
    return days.drop("count").join(told, on=["date", "van"]).sort("date", "van")


def _table(days: pl.DataFrame) -> RenderableType:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for place, name in enumerate(COLUMNS):
        table.add_column(name, justify="left" if place < LEFT_SIDE else "right", overflow="fold")
    for row in days.iter_rows(named=True):
        litres = (row[name] for name in ("tank_litres", "litres_left_low", "litres_left_median"))
        table.add_row(
            f"{row['date']:%a} {day(row['date'])}",
            row["van"],
            row["vehicles"],
            row["tank"] or "-",
            *("-" if one is None else f"{one:,.0f}" for one in litres),
            _chance(row),
        )
    return table


def _chance(row: dict[str, Any]) -> Text:
    if row["gets_through"] is None:
        return Text("not known", style="magenta")
    # Rounded down, so that nothing short of certainty reads as certain.
    text = f"{int(row['gets_through'] * 100 + 1e-9)} %"
    return Text(f"{text}, at risk", style="bold red") if row["at_risk"] else Text(text)


def _unknown(jobs: pl.DataFrame) -> Iterator[str]:
    silent = jobs.drop_nulls("why_not").unique(["van", "tank"], keep="first", maintain_order=True)
    for row in silent.iter_rows(named=True):
        if row["why_not"] == NO_TANK:
            yield f"Of van {row['van']} nothing can be said: {NO_TANK_KNOWN}"
        else:
            why = WHY_NOT[row["why_not"]]
            yield f"Of van {row['van']} nothing can be said, because of {row['tank']}: {why}"


def _changes(bookings: Bookings) -> Iterator[str]:
    """Yield what would do: which resin to change before which day, or to take along."""
    for row in bookings.changes.sort("before", "van", "tank").iter_rows(named=True):
        litres = f"{row['resin_volume']:g} L of {row['grade']}"
        chance = f"{int(row['gets_through'] * 100 + 1e-9)} %"
        before = f"Before {day(row['before'])} change the resin of {row['tank']} ({litres})"
        if row["enough"]:
            yield f"{before}; van {row['van']} then gets through that day with {chance}."
        else:
            yield (
                f"{before}, and take as much along: even so van {row['van']} gets through that "
                f"day with {chance} only. Read the outlet between the jobs."
            )


def _past(bookings: Bookings) -> Iterator[str]:
    if number := bookings.before_today:
        verb = "lies" if number == 1 else "lie"
        yield sentence_case(f"{counted(number, 'job')} of the list {verb} before today; not used.")


def _item(line: str) -> RenderableType:
    return Padding(Text(f"- {line}"), (0, 0, 0, 2), expand=False)
