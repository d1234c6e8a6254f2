"""What stands on the paper of an audit report: plain texts, in the order of its sections.

Everything is decided here and in the sections; the template only sets it.
"""

from typing import Any

import qa_engine
from qa_engine.audit.lettering import lettered
from qa_engine.audit.report import AuditReport
from qa_engine.audit.sections import Row, clock_of, day_of, sections_of
from qa_engine.audit.sentences import CAUTIONS, sentences

LONGEST = 2_000
"""Of a longer text the beginning stands on paper [characters]."""


def paper_of(report: AuditReport) -> dict[str, Any]:
    """Return what the template sets, as JSON can say it."""
    book: dict[str, Any] = {"operator": report.register.operator, "date": _date(report)}
    paper: dict[str, Any] = _lettered(book | told_of(report))
    return paper


def told_of(report: AuditReport) -> dict[str, Any]:
    """Return what stands in the report: ``title``, ``head``, ``says``, ``cautions``, ``sections``.

    A section has a ``title``, a ``note``, ``names`` and ``widths`` of its columns, ``rows``, what
    is said if there is ``nothing`` or if there are ``more``, whether the last row is a ``total``,
    and what each row is ``about``, if that is a finding.
    """
    return {
        "title": f"Audit report, {_days(report)}",
        "head": _head(report),
        "says": sentences(report),
        "cautions": CAUTIONS,
        "sections": sections_of(report),
    }


def _lettered(value: Any) -> Any:
    if isinstance(value, str):
        return lettered(value if len(value) <= LONGEST else f"{value[:LONGEST]} ...")
    if isinstance(value, dict):
        return {name: _lettered(inner) for name, inner in value.items()}
    return [_lettered(inner) for inner in value] if isinstance(value, list | tuple) else value


def _days(report: AuditReport) -> str:
    period = report.asked.period
    return f"{day_of(period.first)} to {day_of(period.last)}"


def _date(report: AuditReport) -> list[int]:
    return list(report.asked.as_of.astimezone(report.register.zone).timetuple()[:3])


def _head(report: AuditReport) -> list[Row]:
    book, signed, zone = report.book, report.book.signed, report.register.zone
    when = clock_of(report)
    head = [
        ("Operator", report.register.operator),
        ("Scope", report.asked.scope.says),
        ("Period", f"{_days(report)}, whole days in {zone.key}"),
        ("As of", f"{when(report.asked.as_of)} ({zone.key}); what the book knew then"),
        ("Engine", f"qa-engine {qa_engine.__version__}"),
        ("Record book", f"{book.id}, begun {when(book.begun)}, {book.size:,} entries"),
        ("Root", book.root or "none yet"),
    ]
    if signed is None:
        return [*head, ("Signed head", "none")]
    genuine = "genuine" if book.genuine else "NOT genuine"
    says = f"{signed.size:,} entries, {when(signed.time)}, {genuine}, by key {signed.key.hex()}"
    return [*head, ("Signed head", says)]
