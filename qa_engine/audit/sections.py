"""The sections of an audit report: tables of plain texts.

A table shows so many rows at most, and says how many more the attached report has.
"""

from collections.abc import Callable, Iterable, Sequence
from datetime import date, datetime
from typing import Any

import polars as pl

from qa_engine.audit.remarks import Remark
from qa_engine.audit.report import AuditReport
from qa_engine.audit.sentences import totals
from qa_engine.coverage import OUTCOMES
from qa_engine.permissions import Account
from qa_engine.report.places import place

MOST_ROWS = 400
"""Of a longer table the first rows stand on paper, all of them in the attached report."""

STATES = (
    "A finding stands until a record settles it. One that is over was followed by another verdict "
    "on the same thing."
)

Row = Sequence[str]


def sections_of(report: AuditReport) -> list[dict[str, Any]]:
    """Return the sections in their order, each as ``paper.told_of`` says."""
    return [
        _editions(report),
        _coverage(report),
        _by_rule(report),
        _findings(report, report.judgement.findings, "Findings of the period"),
        _findings(report, report.judgement.before, "Findings from before the period that stand"),
        _permissions(report),
        _late(report),
        _corrections(report),
        _remarks(report),
        _breaches(report),
        _plugins(report),
    ]


def _section(
    title: str, names: Row, rows: Iterable[Row], nothing: str, widths: str, note: str = ""
) -> dict[str, Any]:
    """Return a section with one table.

    Args:
        title: its heading.
        names: the heads of the columns.
        rows: a text per column.
        nothing: what is said where there are no rows.
        widths: a letter per column: wide, narrow, count, digest.
        note: what is said before the table.
    """
    told = list(rows)
    return {
        "title": title,
        "names": names,
        "widths": list(widths),
        "rows": told[:MOST_ROWS],
        "nothing": nothing,
        "note": note,
        "more": _more(len(told)),
        "total": False,
        "about": [],
    }


def _coverage(report: AuditReport) -> dict[str, Any]:
    rows = [
        (f"{r['rule_set']}/{r['rule']}", r["edition"], *(f"{r[name]:,}" for name in OUTCOMES))
        for r in report.judgement.coverage.iter_rows(named=True)
    ]
    counts = totals(report)
    rows.append(("In all", "", *(f"{counts[name]:,}" for name in OUTCOMES)))
    names = ("Rule", "Edition", "conforms", "does not", "undecided", "pending", "not applicable")
    title = "Coverage: how often each rule gave each outcome"
    note = "Records are judged at their instant, things at the end of each day of the period."
    return {**_section(title, names, rows, "", "wnccccc", note), "total": True}


def _by_rule(report: AuditReport) -> dict[str, Any]:
    rows = (
        (
            f"{r['rule_set']}/{r['rule']}",
            r["edition"],
            r["grading"],
            r["outcome"],
            *(f"{r[name]:,}" for name in ("findings", "stand", "permitted")),
        )
        for r in report.by_rule.iter_rows(named=True)
    )
    names = ("Rule", "Edition", "Grading", "Outcome", "Findings", "Stand", "Permitted")
    return _section("Findings by rule and grading", names, rows, "None.", "wnnnccc")


def _findings(report: AuditReport, findings: pl.DataFrame, title: str) -> dict[str, Any]:
    when = clock_of(report)
    shown = findings.head(MOST_ROWS).with_columns(place().alias("place"))
    rows = (
        (
            r["grading"],
            r["place"] or "",
            f"{when(r['since'])}\nto {when(r['until'])}",
            f"{r['message']}\n{r['finding']}",
            _state(r),
        )
        for r in shown.iter_rows(named=True)
    )
    names = ("Grading", "Where", "Since, until", "What", "State")
    section = _section(title, names, rows, "None.", "nnnwn", STATES if shown.height else "")
    return {**section, "more": _more(findings.height), "about": shown["finding"].to_list()}


def _more(rows: int) -> str:
    more = rows - MOST_ROWS
    return f"{more:,} more stand in the attached report." if more > 0 else ""


def _state(finding: dict[str, Any]) -> str:
    told = "stands" if finding["stands"] else "closed" if finding["closed_at"] else "over"
    return f"{told}, under {finding['permission']}" if finding["permission"] else told


def _permissions(report: AuditReport) -> dict[str, Any]:
    def row(account: Account) -> Row:
        one = account.permission
        where = ", ".join(f"{n} {v}" for n, v in (("tank", one.tank), ("van", one.van)) if v)
        faults = "\n".join(f"{fault.fault}: {fault.says}" for fault in account.faults)
        return (
            f"{one.permission}\n{one.type}",
            f"{one.about}\n{where or 'everywhere'}",
            f"{account.state}\n{_moment(one.begins)} to {_moment(one.until)}",
            f"asked by {one.requested_by}, approved by {one.approved_by}: {one.reason}",
            f"{account.uses:,}",
            faults or "nothing",
        )

    names = ("Permission", "For", "State", "Given", "Uses", "What is wrong")
    rows = map(row, report.permissions)
    return _section("Permissions", names, rows, "None in this scope and period.", "nnnwcw")


def _late(report: AuditReport) -> dict[str, Any]:
    when, entries = clock_of(report), report.entries
    rows = (
        (
            f"{r['record']}\n{r['kind']}",
            r["tank"] or r["van"] or "",
            r["by"] or "",
            when(r["at"]),
            when(r["entered_at"]),
            f"{r['delay_h']:,.1f}",
        )
        for r in entries.late.iter_rows(named=True)
    )
    known = entries.records - entries.unknown
    note = (
        f"{entries.records:,} records; of {known:,} the book knows when they came in. The others "
        "tell of what happened before it was begun, and cannot be told from late ones."
    )
    names = ("Record", "Where", "By", "Happened", "Entered", "Hours late")
    return _section("Late entries", names, rows, "None that is known.", "wnnnnc", note)


def _corrections(report: AuditReport) -> dict[str, Any]:
    when = clock_of(report)
    rows = (
        (
            f"{r['id']}\n{r['kind']}, entry {r['entry']} for {r['supersedes']}",
            _change(r),
            f"{r['entered_by']}\n{when(r['entered_at'])}",
            r["reason"] or "no reason given",
        )
        for r in report.corrections.iter_rows(named=True)
    )
    names = ("Entry", "What changed", "By, when", "Why")
    return _section("Corrections", names, rows, "None.", "nwnw")


def _change(row: dict[str, Any]) -> str:
    if row["field"] is None:
        return "replaced"
    values = [row[name] if row[name] is not None else "nothing" for name in ("before", "after")]
    return f"{row['field']}: {values[0]} became {values[1]}"


def _remarks(report: AuditReport) -> dict[str, Any]:
    when = clock_of(report)

    def row(one: Remark) -> Row:
        return (one.id, one.concerns, one.text or "", f"{one.by}\n{when(one.at)}")

    names = ("Entry", "About", "Remark", "By, when")
    rows = map(row, report.remarks)
    return _section("Remarks of auditors", names, rows, "None.", "nwwn")


def _breaches(report: AuditReport) -> dict[str, Any]:
    rows = ((breach.where, breach.what) for breach in report.book.breaches)
    nothing = "None: everything in the book is as it was entered."
    return _section("What is not as it was entered", ("Where", "What"), rows, nothing, "ww")


def _editions(report: AuditReport) -> dict[str, Any]:
    rows = (
        (f"{e.rule_set} {e.edition}\n{e.title}", day_of(e.in_force_from), e.sha256)
        for e in report.editions
    )
    names = ("Edition", "In force from", "SHA-256 of its file")
    return _section("Rule sets that judged", names, rows, "None.", "wnd")


def _plugins(report: AuditReport) -> dict[str, Any]:
    rows = (
        (f"{p.name} {p.version}", f"{p.state}: {p.reason}" if p.reason else p.state, p.sha256)
        for p in report.plugins
    )
    return _section("Plugins", ("Plugin", "State", "SHA-256 of its files"), rows, "None.", "wnd")


def day_of(value: date) -> str:
    """Return a day for reading."""
    return f"{value.day} {value:%b %Y}"


def clock_of(report: AuditReport) -> Callable[[datetime], str]:
    """Return what tells an instant by the operator's clock."""
    zone = report.register.zone

    def told(instant: datetime) -> str:
        here = instant.astimezone(zone)
        return f"{day_of(here)}, {here:%H:%M}"

    return told


def _moment(value: date | datetime) -> str:
    return f"{value:%Y-%m-%d %H:%M} UTC" if isinstance(value, datetime) else day_of(value)
