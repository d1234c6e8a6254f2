"""A forecast for people at a terminal: a sentence first, then tank by tank, then what follows."""

from collections.abc import Iterator
from datetime import date
from io import StringIO
from typing import Any

import polars as pl
from rich.console import Console, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from qa_engine.forecast.whynot import WHY_NOT
from qa_engine.report.as_text import PIPED_WIDTH
from qa_engine.report.plan import Plan
from qa_engine.report.plan_sections import follow_up
from qa_engine.report.plan_sentences import in_order, percent, plan_headline
from qa_engine.report.sentences import counted, day, sentence_case

LATER = "later"
CAUTION = (
    "Isolate the tank, release its pressure and see zero on a gauge before opening it. A filled "
    "tank is heavy and spilt beads are slippery. The data plate and local codes come first."
)


def plan_text(plan: Plan, *, width: int | None = None) -> str:
    """Return the report as plain text without colour, for files and pipes."""
    out = StringIO()
    show_plan(plan, Console(file=out, width=width or PIPED_WIDTH, no_color=True, highlight=False))
    return "".join(f"{line.rstrip()}\n" for line in out.getvalue().splitlines())


def show_plan(plan: Plan, console: Console) -> None:
    """Print the report to a console."""
    for part in _parts(plan):
        console.print(part, highlight=False)


def _parts(plan: Plan) -> Iterator[RenderableType]:
    yield Text(_heading(plan), style="dim")
    yield Text(plan_headline(plan), style="bold")
    told = in_order(plan)
    if told.height:
        yield _title("When the outlet reaches its limit")
        yield _dates(told, plan)
        yield Text(_legend(told, plan), style="dim")
        yield Text(f"Caution: {CAUTION}", style="italic")
        yield _title("What is left until then")
        yield _left(told)
        yield from _rinses(told, plan)
    yield from follow_up(plan)
    yield from _list("No forecast", _silent(plan))
    yield from _list("Not complete", _incomplete(plan))
    yield from _list("To be known", [*plan.forecast.notes, *plan.tally.notes])


def _title(text: str) -> Text:
    return Text(f"\n{text}", style="bold underline")


def _list(title: str, lines: list[str]) -> Iterator[RenderableType]:
    if lines:
        yield _title(title)
    for line in lines:
        yield Padding(Text(f"- {line}"), (0, 0, 0, 2), expand=False)


def _heading(plan: Plan) -> str:
    found = plan.forecast
    at = found.as_of.astimezone(found.zone)
    return (
        f"{plan.operator} · forecast as of {at:%A} {day(at)}, {at:%H:%M} · {found.days} days, to "
        f"{day(found.day(found.days))} · {counted(found.tanks.height, 'tank')}"
    )


def _table(*columns: str, left: int = 1) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for place, name in enumerate(columns):
        justify: Any = "left" if place < left else "right"
        table.add_column(name, justify=justify, overflow="fold")
    return table


def _dates(told: pl.DataFrame, plan: Plan) -> RenderableType:
    table = _table("tank", "van", "change by", "risk", "10 %", "50 %", "90 %", "limit", left=2)
    for row in told.iter_rows(named=True):
        reached = (_short(row[f"reached_{end}"], plan) for end in ("low", "median", "high"))
        by = _short(row["change_by"], plan)
        limit = f"{row['limit']:g} mg/L"
        table.add_row(row["tank"], row["van"], by, percent(row["change_risk"]), *reached, limit)
    return table


def _short(when: date | None, plan: Plan) -> str:
    if when is None:
        return LATER
    return "today" if when == plan.forecast.today else f"{when:%a} {when.day} {when:%b}"


def _legend(told: pl.DataFrame, plan: Plan) -> str:
    lines = [
        "Change by: before the first rinse of that day; risk: that the limit is reached earlier. "
        f"{percent(0.1)}, {percent(0.5)}, {percent(0.9)}: the day by which it is with that "
        "probability."
    ]
    columns = ("change_by", "reached_low", "reached_median", "reached_high")
    if told.select(pl.any_horizontal(pl.col(columns).is_null()).any()).item():
        found = plan.forecast
        lines.append(f"{sentence_case(LATER)}: not within {found.days} days.")
    if told["least_cost_risk"].null_count() < told.height:
        lines.append(_cheapest(told, plan))
    return " ".join(lines)


def _cheapest(told: pl.DataFrame, plan: Plan) -> str:
    risks = sorted(told["least_cost_risk"].drop_nulls())
    low, high = percent(risks[0]), percent(risks[-1])
    named = low if low == high else f"{low} to {high}"
    return f"The risk that costs least is {named}, tank by tank."


def _left(told: pl.DataFrame) -> RenderableType:
    table = _table("tank", "equivalents", "litres", "litres a day", "eq a day", "grade")
    table.columns[-1].justify = "left"
    for row in told.iter_rows(named=True):
        table.add_row(
            row["tank"],
            _span(row, "equivalents_left", ".1f"),
            _span(row, "litres_left", ",.0f"),
            f"{row['litres_a_day']:,.0f}",
            f"{row['equivalents_a_day']:.2f}",
            row["grade"],
        )
    return table


def _span(row: dict[str, Any], name: str, form: str) -> str:
    low, median, high = (row[f"{name}_{end}"] for end in ("low", "median", "high"))
    if median is None:
        return "no end"
    above = "no end" if high is None else f"{high:{form}}"
    return f"{median:{form}} ({low:{form}} to {above})"


def _rinses(told: pl.DataFrame, plan: Plan) -> Iterator[RenderableType]:
    rinses = plan.forecast.rinses
    if rinses.is_empty():
        return
    yield Text("\nVehicles of one class, whole ones: median (10 % to 90 %)", style="dim")
    for tank in told["tank"]:
        own = rinses.filter(pl.col("tank") == tank)
        parts = [f"{row['vehicle_class']} {_whole(row)}" for row in own.iter_rows(named=True)]
        line = Text(f"{tank}  {' · '.join(parts)}")
        yield Padding(line, (0, 0, 0, 2), expand=False)


def _whole(row: dict[str, Any]) -> str:
    if row["median"] is None:
        return "without end"
    low, median, high = (
        "no end" if row[end] is None else f"{int(row[end] + 1e-9):,}"
        for end in ("low", "median", "high")
    )
    return f"{median} ({low} to {high})"


def _silent(plan: Plan) -> list[str]:
    silent = plan.forecast.tanks.drop_nulls("why_not")
    return [
        f"{row['tank']}{_grade(row)}: {WHY_NOT[row['why_not']]}{_over(row)}"
        for row in silent.iter_rows(named=True)
    ]


def _grade(row: dict[str, Any]) -> str:
    return f", {row['grade']}" if row["grade"] else ""


def _over(row: dict[str, Any]) -> str:
    return " Its outlet has reached the limit by the last reading." if row["at_limit"] else ""


def _incomplete(plan: Plan) -> list[str]:
    if not plan.tally.refused:
        return []
    return [f"{sentence_case(counted(plan.tally.refused, 'record'))} could not be taken."]
