"""The sentences that an audit report begins with, and the cautions that it never goes without."""

from collections.abc import Iterator

import polars as pl

from qa_engine.audit.late import LATE_AFTER
from qa_engine.audit.report import AuditReport
from qa_engine.coverage import OUTCOMES
from qa_engine.findings import GRADINGS

CAUTIONS = (
    "This report records and flags. It approves no vessel, no repair and no water: the data plate, "
    "local codes and licensed or competent persons decide.",
    "What nobody recorded was not judged. A rule that did not apply, or could not be decided, is "
    "no evidence that its requirement is met.",
    "Whoever alters the book and reckons its whole tree anew is found out only by a root, or a "
    "signed head, that was kept elsewhere.",
)

WORDS = {
    "conforms": ("conforms", "conform"),
    "does_not_conform": ("does not conform", "do not conform"),
    "undecided": ("could not be decided", "could not be decided"),
    "pending": ("is pending", "are pending"),
    "not_applicable": ("does not apply", "do not apply"),
}


def totals(report: AuditReport) -> dict[str, int]:
    """Return how often each outcome was given in the scope and period."""
    return {name: int(report.judgement.coverage[name].sum()) for name in OUTCOMES}


def sentences(report: AuditReport) -> tuple[str, ...]:
    """Return what the report says in short, the findings first."""
    return tuple(
        text
        for part in (_judged, _found, _before, _late, _corrected, _whole, _incomplete)
        for text in part(report)
    )


def _judged(report: AuditReport) -> Iterator[str]:
    counts = totals(report)
    if not (total := sum(counts.values())):
        yield "Nothing was judged in this scope and period, so nothing is said to conform."
        return
    told = [f"{n:,} {WORDS[name][n != 1]}" for name, n in counts.items() if n]
    yield f"{_many(total, 'verdict was', 'verdicts were')} given: {', '.join(told)}."


def _found(report: AuditReport) -> Iterator[str]:
    found = report.judgement.findings
    if not sum(totals(report).values()):
        return
    if found.is_empty():
        yield "There is no finding in this scope and period."
        return
    grades = [(g, found.filter(pl.col("grading") == g).height) for g in GRADINGS]
    told = ", ".join(f"{n:,} {grade}" for grade, n in grades if n)
    stand = int(found["stands"].sum())
    still = (
        "none of them still stands" if not stand else _many(stand, "still stands", "still stand")
    )
    under = found["permission"].count()
    permitted = f"; {_many(under, 'is', 'are')} under permission" if under else ""
    yield f"{_many(found.height, 'finding', 'findings')} ({told}): {still}{permitted}."


def _before(report: AuditReport) -> Iterator[str]:
    if count := report.judgement.before.height:
        yield f"{_many(count, 'finding', 'findings')} from before the period still " + (
            "stands." if count == 1 else "stand."
        )


def _late(report: AuditReport) -> Iterator[str]:
    entries, hours = report.entries, LATE_AFTER.total_seconds() / 3600
    if entries.late.height:
        many = _many(entries.late.height, "record", "records")
        yield f"{many} came into the book more than {hours:.0f} h after what they tell of."
    elif entries.records > entries.unknown:
        yield f"No record is known to have come in more than {hours:.0f} h late."
    if entries.unknown:
        yield (
            f"Of {_many(entries.unknown, 'record', 'records')} it cannot be told whether they came "
            "in late: they tell of what happened before the book was begun, and what was brought "
            "in then cannot be told from what was written down late."
        )


def _corrected(report: AuditReport) -> Iterator[str]:
    count = report.corrections["entry"].n_unique()
    if count:
        yield f"{_many(count, 'entry was', 'entries were')} corrected or replaced."
    else:
        yield "Nothing was corrected."


def _whole(report: AuditReport) -> Iterator[str]:
    yield report.book.says
    yield report.book.signature_says


def _incomplete(report: AuditReport) -> Iterator[str]:
    failed = [plugin.name for plugin in report.plugins if plugin.state == "failed"]
    if failed:
        yield f"The report is INCOMPLETE: the plugins {', '.join(failed)} failed."
    if report.judgement.placeless:
        many = _many(report.judgement.placeless, "verdict", "verdicts")
        yield (
            f"{many} about things that belong to no base, van or tank (meters, sources) lie "
            "outside this scope; a report on the whole fleet has them."
        )
    zone = report.register.zone
    if report.asked.period.last >= report.asked.as_of.astimezone(zone).date():
        yield "The period was not over when the report was made."


def _many(count: int, one: str, more: str) -> str:
    return f"{count:,} {one if count == 1 else more}"
