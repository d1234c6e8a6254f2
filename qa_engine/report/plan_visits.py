"""Work to be done together in a forecast's report, visit by visit, with its cautions."""

from collections.abc import Iterator
from typing import Any

import polars as pl
from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from qa_engine.forecast.calendar import VISIT
from qa_engine.forecast.work import RESIN_CHANGE
from qa_engine.report.sentences import counted, day, sentence_case

SHOWN_VISITS = 12
OVERDUE = {True: "the outlet is at its limit", False: "not met now"}
"""How overdue work is told: a resin change, and what a rule asks for."""


def visits_section(calendar: pl.DataFrame) -> Iterator[RenderableType]:
    """Yield the section on what to do together, without its title."""
    visits = calendar.partition_by(VISIT, maintain_order=True)
    for visit in visits[:SHOWN_VISITS]:
        yield _visit(visit)
    if (more := len(visits) - SHOWN_VISITS) > 0:
        yield _indented(2, Text(f"and {counted(more, 'more visit')}; --format json lists all"))


def _visit(visit: pl.DataFrame) -> RenderableType:
    first = visit.row(0, named=True)
    head = Text(f"{first['date']:%a} {day(first['date'])}  ")
    head.append(sentence_case(f"{first['place_kind']} {first['place']}"), style="bold")
    lines: list[RenderableType] = [_indented(2, head)]
    for row in visit.iter_rows(named=True):
        lines.append(_indented(4, _work(row)))
        if row["work"] != RESIN_CHANGE:
            lines.append(_indented(8, Text(row["correction"], style="dim")))
    cautions = visit["caution"].drop_nulls().unique(maintain_order=True)
    lines += [_indented(4, Text(f"Caution: {one}", style="italic")) for one in cautions]
    return Group(*lines)


def _work(row: dict[str, Any]) -> Text:
    text = Text(f"- {row['tank'] or row['subject']}: {row['work']}")
    if row["work"] == RESIN_CHANGE:
        text.append(f", {row['resin_volume']:g} L of {row['grade']}")
    if row["overdue"]:
        text.append(f" ({OVERDUE[row['work'] == RESIN_CHANGE]})", style="bold red")
    elif row["by"] > row["date"]:
        text.append(f" (in time until {day(row['by'])})", style="dim")
    return text


def _indented(columns: int, text: Text) -> Padding:
    return Padding(text, (0, 0, 0, columns), expand=False)
