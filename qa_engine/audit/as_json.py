"""The audit report as JSON: the same bytes for the same book, question and instant.

The members, in this order; a later version of the form only adds some:

- ``audit_report``: the version of the form, 1; ``operator``, ``time_zone``, ``as_of``.
- ``scope``: ``bases``, ``vans``, ``tanks``, ``rule_sets``, each a list of names, empty for all.
- ``period``: ``from`` and ``to``, days of the operator's, both included.
- ``engine``: its ``version``; ``complete``: false if a plugin failed.
- ``says``, ``cautions``: sentences.
- ``rule_sets``: editions in force in the period, with the digest of their files; ``plugins``.
- ``coverage``: per rule and edition how often each outcome was given; ``totals`` over all;
  ``outside_scope``: verdicts about things that belong to no place, if the scope names places.
- ``findings_by_rule``; ``findings`` as in a report of ``inspect``; ``findings_before``: over before
  the period and standing still.
- ``permissions``; ``late`` with ``after_h``, ``records``, ``unknown`` and the ``entries``;
  ``corrections``; ``remarks`` of auditors.
- ``book``: ``id``, ``begun``, ``size``, ``root``, ``signed_head`` (null if none), ``genuine`` and
  what was found wrong, ``breaches``.

Instants are RFC 3339 in UTC, delays are in hours.
"""

from collections.abc import Iterable, Iterator
from datetime import date, datetime, timedelta
from typing import Any

import polars as pl

import qa_engine
from qa_engine.audit.late import LATE_AFTER
from qa_engine.audit.remarks import Remark
from qa_engine.audit.report import AuditReport
from qa_engine.audit.sentences import CAUTIONS, sentences, totals
from qa_engine.audit.wholeness import Wholeness
from qa_engine.permissions import Account
from qa_engine.report.as_json import finding_lines
from qa_engine.rulesets import Edition
from qa_engine.wording import plain_json, rfc3339

VERSION = 1


def json_audit(report: AuditReport) -> str:
    """Return the report as JSON text, a line for each item of a list, ending with a line feed."""
    members = [f'"{name}": {plain_json(value)}' for name, value in _head(report).items()]
    members += [f'"{name}": {_listed(lines)}' for name, lines in _lists(report)]
    members.append(f'"late": {_late(report)}')
    members.append(f'"book": {plain_json(_book(report.book))}')
    return "{\n" + ",\n".join(members) + "\n}\n"


def _head(report: AuditReport) -> dict[str, Any]:
    asked = report.asked
    return {
        "audit_report": VERSION,
        "operator": report.register.operator,
        "time_zone": report.register.zone.key,
        "as_of": rfc3339(asked.as_of),
        "scope": asked.scope.names,
        "period": {"from": str(asked.period.first), "to": str(asked.period.last)},
        "engine": {"version": qa_engine.__version__},
        "complete": not report.judgement.inspection.plugins_failed,
        "says": sentences(report),
        "cautions": CAUTIONS,
        "totals": totals(report),
        "outside_scope": report.judgement.placeless,
    }


def _lists(report: AuditReport) -> Iterator[tuple[str, Iterable[str]]]:
    judgement = report.judgement
    yield "rule_sets", map(plain_json, map(_edition, report.editions))
    yield (
        "plugins",
        (
            plain_json({n: getattr(p, n) for n in ("name", "version", "sha256", "state", "reason")})
            for p in report.plugins
        ),
    )
    yield "coverage", _rows(judgement.coverage)
    yield "findings_by_rule", _rows(report.by_rule)
    yield "findings", finding_lines(judgement.findings)
    yield "findings_before", finding_lines(judgement.before)
    yield "permissions", map(plain_json, map(_permission, report.permissions))
    yield "corrections", _rows(report.corrections)
    yield "remarks", map(plain_json, map(_remark, report.remarks))


def _listed(lines: Iterable[str]) -> str:
    joined = ",\n".join(lines)
    return f"[\n{joined}\n]" if joined else "[]"


def _rows(frame: pl.DataFrame) -> Iterator[str]:
    return (
        plain_json({n: _plain(v) for n, v in row.items()}) for row in frame.iter_rows(named=True)
    )


def _plain(value: Any) -> Any:
    if isinstance(value, datetime):
        return rfc3339(value)
    return str(value) if isinstance(value, date) else value


def _edition(one: Edition) -> dict[str, Any]:
    return {
        "rule_set": one.rule_set,
        "edition": one.edition,
        "title": one.title,
        "in_force_from": str(one.in_force_from),
        "in_force_until": one.in_force_until and str(one.in_force_until),
        "sha256": one.sha256,
    }


def _permission(account: Account) -> dict[str, Any]:
    one = account.permission
    names = ("permission", "type", "rule_set", "rule", "van", "tank", "reason")
    given = ("requested_by", "requested_on", "approved_by", "approved_on")
    return {
        **{name: getattr(one, name) for name in names},
        **{name: _plain(getattr(one, name)) for name in given},
        "from": _plain(one.begins),
        "until": _plain(one.until),
        "state": account.state,
        "uses": account.uses,
        "problems": [{"problem": fault.fault, "says": fault.says} for fault in account.faults],
        "sha256": one.sha256,
    }


def _remark(one: Remark) -> dict[str, Any]:
    found = {name: _plain(value) for name, value in vars(one).items() if value is not None}
    return {**found, "entered_by": found.pop("by"), "entered_at": found.pop("at")}


def _late(report: AuditReport) -> str:
    entries = report.entries
    head = {
        "after_h": LATE_AFTER / timedelta(hours=1),
        "records": entries.records,
        "unknown": entries.unknown,
    }
    return plain_json(head).removesuffix("}") + f',"entries": {_listed(_rows(entries.late))}}}'


def _book(book: Wholeness) -> dict[str, Any]:
    signed = book.signed
    return {
        "id": book.id,
        "begun": rfc3339(book.begun),
        "size": book.size,
        "root": book.root,
        "signed_head": signed
        and {
            "size": signed.size,
            "root": signed.root.hex(),
            "time": rfc3339(signed.time),
            "key": signed.key.hex(),
        },
        "genuine": book.genuine,
        "breaches": [{"where": breach.where, "what": breach.what} for breach in book.breaches],
    }
