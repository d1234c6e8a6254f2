"""The report for people at a terminal: a sentence first, then what to do and why, then the rest."""

from collections.abc import Iterator
from io import StringIO
from typing import Any

import polars as pl
from rich.console import Console, Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from qa_engine.facts.catalogue import Catalogue
from qa_engine.findings import NOT_KNOWN
from qa_engine.inspection import Assignment
from qa_engine.report.decisive import decisive
from qa_engine.report.lasting import lasting
from qa_engine.report.outcome import Report
from qa_engine.report.permitted import permitted
from qa_engine.report.places import place
from qa_engine.report.sentences import (
    counted,
    day,
    failing,
    headline,
    sentence_case,
    standing,
    undecided,
)
from qa_engine.report.since import since, title_since
from qa_engine.wording import SHOWN_RECORDS

STYLES = {"major": "bold red", "minor": "yellow", "advice": "cyan", "undecided": "magenta"}
PIPED_WIDTH = 100
SHOWN_JOBS = 12
SHOWN_GAPS = 12
SHOWN_DUE = 12


def text_report(report: Report, *, width: int | None = None) -> str:
    """Return the report as plain text without colour, for files and pipes."""
    out = StringIO()
    show(report, Console(file=out, width=width or PIPED_WIDTH, no_color=True, highlight=False))
    return "".join(f"{line.rstrip()}\n" for line in out.getvalue().splitlines())


def show(report: Report, console: Console) -> None:
    """Print the report to a console."""
    for part in _parts(report):
        console.print(part, highlight=False)


def _parts(report: Report) -> Iterator[RenderableType]:
    yield Text(_heading(report), style="dim")
    yield Text(headline(report), style="bold")
    yield from _section(title_since(report), list(since(report)))
    now = standing(report)
    yield from _section("Do first", list(_jobs(failing(now), report)))
    yield from _section("Could not be decided", list(_open(undecided(now), report)))
    yield from _section("Under permission", list(permitted(report)))
    yield from _section("Falls due next", list(_due(report.inspection.due)))
    yield from _section("What was checked", [_coverage(report.inspection.coverage)])
    yield from _section("Not complete", [_listed(line) for line in _troubles(report)])
    yield from _section("To be known", [_listed(line) for line in _notes(report)])
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
    """Yield what is to be done, worst first: one entry per place, all of its corrections in it."""
    jobs = now.with_columns(place().alias("place")).partition_by("place", maintain_order=True)
    for number, job in enumerate(jobs[:SHOWN_JOBS], start=1):
        yield _job(number, job, report)
    if (more := len(jobs) - SHOWN_JOBS) > 0:
        yield Text(f"    and {counted(more, 'more place')}; --format json or csv lists them all")


def _job(number: int, job: pl.DataFrame, report: Report) -> RenderableType:
    grade = job["grading"][0]
    head = Text(f"{number:>2}. ")
    head.append(sentence_case(job["place"][0]), style="bold")
    head.append(f"  {grade}", style=STYLES[grade])
    lines: list[RenderableType] = [head]
    task = report.inspection.assignment
    worst = job.filter(pl.col("grading") == grade)
    for one in worst.partition_by("correction", maintain_order=True):
        lines.append(_indented(4, Text(one["correction"][0])))
        for row in one.iter_rows(named=True):
            lines.append(_reason(row, task))
            told = decisive(row, report.explained)
            lines += [_indented(8, Text(line, style="dim")) for line in told]
    for caution in worst["caution"].drop_nulls().unique(maintain_order=True):
        lines.append(_indented(4, Text(f"Caution: {caution}", style="italic")))
    if rest := [
        f"{rule} ({g})" for rule, g in job[worst.height :].select("rule", "grading").rows()
    ]:
        lines.append(_indented(4, Text(f"Also: {', '.join(rest)}", style="dim")))
    return Group(*lines)


def _indented(columns: int, text: Text) -> Padding:
    return Padding(text, (0, 0, 0, columns), expand=False)


def _reason(row: dict[str, Any], task: Assignment) -> RenderableType:
    line = Text(f"{row['message']} ")
    line.append(f"({lasting(row, task)}{_evidence(row['evidence'])})", style="dim")
    return _indented(6, line)


def _evidence(records: list[str]) -> str:
    if not records:
        return "the records are silent"
    more = len(records) - SHOWN_RECORDS
    named = ", ".join(records[:SHOWN_RECORDS]) + (f" and {more} more" if more > 0 else "")
    return f"evidence {named}"


def _listed(line: str) -> RenderableType:
    return Padding(Text(f"- {line}"), (0, 0, 0, 2), expand=False)


def _open(now: pl.DataFrame, report: Report) -> Iterator[RenderableType]:
    """Yield what could not be decided: per place what is missing, and which rules need it."""
    gaps = (
        now.with_columns(place().alias("place"), pl.col("missing").list.sort())
        .group_by("place", "missing", maintain_order=True)
        .agg(pl.col("rule", "message", "subject_kind").unique(maintain_order=True))
    )
    for here in gaps.head(SHOWN_GAPS).partition_by("place", maintain_order=True):
        yield _indented(2, Text(sentence_case(here["place"][0]), style="bold"))
        for row in here.iter_rows(named=True):
            yield _indented(4, _gap(row, report.inspection.catalogue))
    if (more := gaps.height - SHOWN_GAPS) > 0:
        yield Text(f"  and {counted(more, 'more gap')}; --format json or csv lists them all")


def _gap(row: dict[str, Any], catalogue: Catalogue) -> Text:
    facts = catalogue.facts_of(row["subject_kind"][0])
    named = (f"{n} ({facts[n].meaning})" if n in facts else n for n in row["missing"])
    text = Text(f"{' and '.join(named)} not known" if row["missing"] else "")
    further = [message for message in row["message"] if not message.endswith(NOT_KNOWN)]
    text.append(" ".join(["." if row["missing"] and further else "", *further]))
    text.append(f": {', '.join(row['rule'])}", style=STYLES["undecided"])
    return text


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
    """Yield what kept the report from being complete."""
    for plugin in report.inspection.plugins:
        if plugin.state == "failed":
            yield f"Plugin '{plugin.name}' failed: {plugin.reason}."
    if report.tally.refused:
        yield f"{sentence_case(counted(report.tally.refused, 'record'))} could not be taken."
    if not report.inspection.used:
        yield "No record was there to judge."


def _notes(report: Report) -> Iterator[str]:
    """Yield what the intake wants known, and what was left aside."""
    yield from report.tally.notes
    if later := report.inspection.later:
        verb = "lies" if later == 1 else "lie"
        count = counted(later, "record")
        yield f"{sentence_case(count)} {verb} after the instant of the inspection; not used."


def _earlier(report: Report) -> str:
    ended = report.inspection.findings.filter(~pl.col("stands"))
    if ended.is_empty():
        return ""
    count = sentence_case(counted(ended.height, "earlier finding"))
    verb = "stands" if ended.height == 1 else "stand"
    return f"\n{count} no longer {verb}; --format json or csv lists all."
