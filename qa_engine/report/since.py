"""What a report tells of the time since an earlier one: new, closed, still open, not judged."""

from collections.abc import Iterator
from typing import Any
from zoneinfo import ZoneInfo

import polars as pl
from rich.padding import Padding
from rich.text import Text

from qa_engine.facts import EVENT_SUBJECTS
from qa_engine.lifecycle import CLOSED, NEW, NOT_JUDGED, STATES, STILL_OPEN, Changes
from qa_engine.report.outcome import Report
from qa_engine.report.places import place
from qa_engine.report.sentences import counted, day, listed, sentence_case

SHOWN = 12
"""How many findings of a state are shown before the rest is counted."""

STYLES = {NEW: "red", CLOSED: "green", STILL_OPEN: "yellow", NOT_JUDGED: "magenta"}


def title_since(report: Report) -> str:
    """Return the title of the section, such as ``Since Friday 31 Jul 2026, 18:00``."""
    changes = report.inspection.changes
    if changes is None:
        return ""
    instant = changes.earlier.as_of.astimezone(report.inspection.assignment.register.zone)
    return f"Since {instant:%A} {day(instant)}, {instant:%H:%M}"


def since(report: Report) -> Iterator[Text | Padding]:
    """Yield what changed since the earlier report, if there is one: a sentence, then the findings.

    Findings of one rule at one place that are told alike are one line.
    """
    changes = report.inspection.changes
    if changes is None:
        return
    zone = report.inspection.assignment.register.zone
    yield Text(f"  {summary(changes)}")
    for state in STYLES:
        yield from _lines(state, _told_alike(changes.of(state)), zone)


def summary(changes: Changes) -> str:
    """Return what changed as one sentence."""
    new, open_, closed, unjudged = (changes.of(state).height for state in STATES)
    verb = "is" if new == 1 else "are"
    rest = [f"{_number(closed)} closed", f"{_number(open_)} still open"]
    if unjudged:
        rest.append(f"{_number(unjudged)} not judged this time")
    return sentence_case(f"{counted(new, 'finding')} {verb} new, {listed(rest)}.")


def _number(number: int) -> str:
    return counted(number, "", " ").strip() if number else "none"


def _told_alike(rows: pl.DataFrame) -> pl.DataFrame:
    alike = ["place", "rule", "grading", "event", "reason", "by", "says"]
    return (
        rows.with_columns(
            place=place(),
            event=pl.col("subject_kind").is_in(list(EVENT_SUBJECTS)),
            by=pl.col("closed_by").list.join(", "),
            says=pl.when(pl.col("state") == NEW).then("message"),
        )
        .group_by(alike, maintain_order=True)
        .agg(pl.len().alias("count"), pl.col("since").min(), pl.col("closed_at").max())
    )


def _lines(state: str, rows: pl.DataFrame, zone: ZoneInfo) -> Iterator[Text | Padding]:
    for row in rows.head(SHOWN).iter_rows(named=True):
        line = Text("", end="")
        line.append(f"{state}: ", style=STYLES[state])
        line.append(f"{sentence_case(row['place'])}, {row['rule']} ({row['grading']})")
        line.append(_words(state, row, zone))
        yield Padding(line, (0, 0, 0, 2), expand=False)
    if (more := rows.height - SHOWN) > 0:
        yield Text(f"  and {_number(more)} more {state}; --format json lists them all")


def _words(state: str, row: dict[str, Any], zone: ZoneInfo) -> str:
    """Return how a finding came about or ended; of a thing only its records tell since when."""
    several = f", {counted(row['count'], 'finding')}" if row["count"] > 1 else ""
    began = f"since {day(row['since'].astimezone(zone))}" if row["event"] else ""
    told = f"{several}, {began}" if began else several
    note = f" ({row['reason']})" if row["reason"] else ""
    if state == NEW:
        return f"{told}{note}: {row['says']}"
    if state == NOT_JUDGED:
        return f"{told}: {row['reason']}"
    if state == CLOSED:
        by = row["by"] or "what the register says"
        return f"{several}, by {by}, {day(row['closed_at'].astimezone(zone))}{note}"
    return told
