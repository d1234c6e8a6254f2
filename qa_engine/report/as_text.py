"""The report for people at a terminal: a sentence first, then what to do and why, then the rest."""

from collections.abc import Iterator
from io import StringIO
from typing import Any

import polars as pl
from rich.console import Console, Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from qa_engine.report.outcome import Report
from qa_engine.report.sentences import (
    counted,
    day,
    failing,
    headline,
    sentence_case,
    standing,
    undecided,
)
from qa_engine.wording import SHOWN_RECORDS

STYLES = {"major": "bold red", "minor": "yellow", "advice": "cyan", "undecided": "magenta"}
PIPED_WIDTH = 100
SHOWN_JOBS = 12
SHOWN_DUE = 12


def text_report(report: Report, *, width: int | None = None) -> str:
    """Return the report as plain text without colour, for files and pipes."""
    out = StringIO()
    show(report, Console(file=out, width=width or PIPED_WIDTH, no_color=True, highlight=False))
    return out.getvalue()


def show(report: Report, console: Console) -> None:
    """Print the report to a console."""
    for part in _parts(report):
        console.print(part, highlight=False)


def _parts(report: Report) -> Iterator[RenderableType]:
    yield Text(_heading(report), style="dim")
    yield Text(headline(report), style="bold")
    now = standing(report)
    yield from _section("Do first", list(_jobs(failing(now), report)))
    yield from _section("Could not be decided", list(_open(undecided(now))))
    yield from _section("Falls due next", list(_due(report.inspection.due)))
    yield from _section("What was checked", [_coverage(report.inspection.coverage)])
    yield from _section("Not complete", [Text(f"- {line}") for line in _troubles(report)])
    yield Text(_earlier(report), style="dim")


def _section(title: str, body: list[Any]) -> Iterator[RenderableType]:
    if body:
        yield Text(f"\n{title}", style="bold underline")
        yield Group(*body)


def _heading(report: Report) -> str:
    task = report.inspection.assignment
    instant = task.as_of.astimezone(task.register.zone)
    period = f" · {task.period.first} to {task.period.last}" if task.period else ""
    tanks = task.register.table("tanks")["tank"].n_unique()
    vans = task.register.table("vans")["van"].n_unique()
    rules = sum(len(edition.rules) for edition in report.inspection.editions)
    return (
        f"{task.register.operator} · as of {instant:%A} {day(instant)}, {instant:%H:%M}{period} · "
        f"{counted(vans, 'van')}, {counted(tanks, 'tank')}, {counted(rules, 'requirement')}"
    )


def _jobs(now: pl.DataFrame, report: Report) -> Iterator[RenderableType]:
    """Yield what is to be done, worst first: one entry per place and correction."""
    jobs = now.group_by("van", "tank", "item", "correction", maintain_order=True).all()
    zone = report.inspection.assignment.register.zone
    for number, job in enumerate(jobs.head(SHOWN_JOBS).iter_rows(named=True), start=1):
        yield _job(number, job, zone)
    if (more := jobs.height - SHOWN_JOBS) > 0:
        yield Text(f"    and {counted(more, 'more job')}; --format json or csv lists them all")


def _job(number: int, job: dict[str, Any], zone: Any) -> RenderableType:
    grade = job["grading"][0]
    head = Text(f"{number:>2}. ")
    head.append(_place(job), style="bold")
    head.append(f"  {grade}", style=STYLES[grade])
    lines: list[RenderableType] = [head, Padding(Text(job["correction"]), (0, 0, 0, 4))]
    for place, why in enumerate(dict.fromkeys(job["message"])):
        since = day(job["since"][place].astimezone(zone))
        line = Text(f"{why} ", style="default")
        line.append(f"Since {since}; {_evidence(job['evidence'][place])}.", style="dim")
        lines.append(Padding(line, (0, 0, 0, 6)))
    if caution := next(filter(None, job["caution"]), None):
        lines.append(Padding(Text(f"Caution: {caution}", style="italic"), (0, 0, 0, 6)))
    return Group(*lines)


def _place(row: dict[str, Any]) -> str:
    if row["tank"]:
        van = f"van {row['van']}, " if row["van"] else ""
        return sentence_case(f"{van}tank {row['tank']}")
    return f"Van {row['van']}" if row["van"] else str(row["item"])


def _evidence(records: list[str]) -> str:
    if not records:
        return "the records are silent"
    more = len(records) - SHOWN_RECORDS
    named = ", ".join(records[:SHOWN_RECORDS]) + (f" and {more} more" if more > 0 else "")
    return f"evidence {named}"


def _open(now: pl.DataFrame) -> Iterator[RenderableType]:
    """Yield what could not be decided: one entry per rule with the places and the reason."""
    rules = now.group_by("rule", "message", maintain_order=True).agg(
        pl.coalesce("tank", "van", "item").unique(maintain_order=True).alias("places")
    )
    for row in rules.iter_rows(named=True):
        line = Text("  ")
        line.append(row["rule"], style=STYLES["undecided"])
        line.append(f"  {', '.join(row['places'][:8])}: {row['message']}")
        yield line


def _due(due: pl.DataFrame) -> Iterator[RenderableType]:
    for row in due.head(SHOWN_DUE).iter_rows(named=True):
        place = row["tank"] or row["van"] or row["subject"]
        yield Text(f"  {day(row['falls_due']):>12}  {place}: {row['title']}")
    if (more := due.height - SHOWN_DUE) > 0:
        yield Text(f"  and {counted(more, 'more requirement')} within 90 days")


def _coverage(coverage: pl.DataFrame) -> RenderableType:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column("rule set")
    for name in ("conforms", "does not conform", "undecided", "pending", "not applicable"):
        table.add_column(name, justify="right", overflow="fold")
    sums = coverage.group_by("rule_set", "edition").agg(pl.exclude("rule").sum())
    for row in sums.sort("rule_set", "edition").iter_rows():
        table.add_row(f"{row[0]} {row[1]}", *(f"{count:,}" for count in row[2:]))
    return table


def _troubles(report: Report) -> Iterator[str]:
    """Yield what kept the report from being complete, and what the intake wants known."""
    for plugin in report.inspection.plugins:
        if plugin.state == "failed":
            yield f"Plugin '{plugin.name}' failed: {plugin.reason}."
    if report.tally.refused:
        yield f"{sentence_case(counted(report.tally.refused, 'record'))} could not be taken."
    yield from report.tally.notes
    if report.inspection.later:
        count = counted(report.inspection.later, "record")
        yield f"{sentence_case(count)} after the instant of the inspection not used."


def _earlier(report: Report) -> str:
    ended = report.inspection.findings.filter(~pl.col("stands"))
    if ended.is_empty():
        return ""
    count = sentence_case(counted(ended.height, "earlier finding"))
    return f"\n{count} no longer stand; --format json or csv lists them."
