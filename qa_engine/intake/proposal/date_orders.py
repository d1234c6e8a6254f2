"""Decides in which order dates in numbers are written, where the dates decide it."""

from collections.abc import Sequence
from typing import NamedTuple

import polars as pl

from qa_engine.intake.column_map.column_map import DAY_FIRST, MONTH_FIRST
from qa_engine.intake.proposal.questions import Questions, Ref
from qa_engine.intake.proposal.seen import SeenColumn, number_dates


class Decided(NamedTuple):
    """What was decided, or is asked, and why; nothing if there was nothing to decide."""

    answer: str | Ref | None
    why: str = ""


def date_order(columns: Sequence[SeenColumn], questions: Questions) -> Decided:
    """Return the order of dates in some columns: as a day above 12 shows, or else as answered."""
    day_first: list[str] = []
    month_first: list[str] = []
    open_: list[str] = []
    for column in columns:
        dates = number_dates(column.cells)
        first, second = dates["a"].cast(pl.Int32), dates["b"].cast(pl.Int32)
        for found, told in (
            (day_first, dates.filter((first > 12) & (second <= 12))),
            (month_first, dates.filter((second > 12) & (first <= 12))),
            (open_, dates.filter((first <= 12) & (second <= 12))),
        ):
            found += [f"{text} in {column.place(text)}" for text in told["text"].head(1)]
    if day_first and not month_first:
        return Decided(DAY_FIRST, f"{day_first[0]} has no other reading")
    if month_first and not day_first:
        return Decided(MONTH_FIRST, f"{month_first[0]} has no other reading")
    if not open_ and not day_first:
        return Decided(None)
    seen = f"{open_[0]} may be either" if open_ else ""
    if day_first:
        seen = f"{day_first[0]} has the day first, {month_first[0]} the month"
    text = f"Which comes first in a date, the day or the month? {seen}."
    return Decided(questions.ask("date order", text, (DAY_FIRST, MONTH_FIRST)))
