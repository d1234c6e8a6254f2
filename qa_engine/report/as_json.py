"""The report as JSON: the same bytes for the same inspection, a line for each finding."""

from collections.abc import Iterable, Iterator
from datetime import date, datetime
from typing import Any

import polars as pl

import qa_engine
from qa_engine.explanation import Explanations
from qa_engine.explanation.as_json import member_data
from qa_engine.lifecycle import is_open
from qa_engine.permissions import Account
from qa_engine.report.outcome import Report
from qa_engine.report.since_as_json import changes_json, inputs_json
from qa_engine.wording import plain_json, rfc3339

VERSION = 1
FINDINGS_AT_ONCE = 20_000
LIFE = ("stands", "item", "closed_at", "closed_by")
"""What a finding says of its life: whether and how it ended."""


def json_report(report: Report) -> str:
    """Return the report as JSON text, ending with a line feed."""
    return "".join(json_pieces(report))


def json_pieces(report: Report) -> Iterator[str]:
    """Yield the report as JSON text piece by piece, so that a large one need not be held whole."""
    inspection, as_of = report.inspection, report.inspection.assignment.as_of
    lists = {
        "coverage": map(plain_json, inspection.coverage.to_dicts()),
        "findings": _told(report, inspection.findings),
        "due": map(plain_json, map(_due, inspection.due.to_dicts())),
        "permissions": map(plain_json, map(_permission, inspection.permissions)),
        "open_outside_period": _told(report, inspection.outside.filter(is_open(as_of))),
    }
    head = (f'"{name}": {plain_json(value)}' for name, value in _head(report).items())
    yield "{\n" + ",\n".join(head)
    for name, lines in lists.items():
        yield f',\n"{name}": '
        yield from _listed(lines)
    if inspection.changes is not None:
        yield f',\n"against": {changes_json(inspection.changes)}'
    yield "\n}\n"


def _head(report: Report) -> dict[str, Any]:
    inspection, tally = report.inspection, report.tally
    period = inspection.assignment.period
    return {
        "report": VERSION,
        "as_of": rfc3339(inspection.assignment.as_of),
        "period": period and {"from": str(period.first), "to": str(period.last)},
        "complete": report.complete,
        "engine": {"version": qa_engine.__version__},
        "rule_sets": [
            {"rule_set": e.rule_set, "edition": e.edition, "sha256": e.sha256}
            for e in inspection.editions
        ],
        "plugins": [
            {
                "name": p.name,
                "version": p.version,
                "sha256": p.sha256,
                "state": p.state,
                "reason": p.reason,
            }
            for p in inspection.plugins
        ],
        "records": {
            "read": tally.read,
            "accepted": inspection.used + tally.repeated,
            "refused": tally.refused,
            "repeated": tally.repeated,
            "later": inspection.later,
        },
        "inputs": inputs_json(report),
    }


def _due(row: dict[str, Any]) -> dict[str, Any]:
    names = ("rule_set", "rule", "van", "tank")
    subject = {"kind": row["subject_kind"], "id": row["subject"]}
    return {
        **{name: row[name] for name in names[:2]},
        "subject": subject,
        **{name: row[name] for name in names[2:]},
        "falls_due": str(row["falls_due"]),
    }


def _permission(account: Account) -> dict[str, Any]:
    one = account.permission
    given = ("requested_by", "requested_on", "approved_by", "approved_on")
    return {
        **{name: getattr(one, name) for name in ("permission", "type", "rule_set", "rule")},
        "scope": {"van": one.van, "tank": one.tank},
        "reason": one.reason,
        **{name: _moment(getattr(one, name)) for name in given},
        "from": _moment(one.begins),
        "until": _moment(one.until),
        "state": account.state,
        "uses": account.uses,
        "problems": [{"problem": fault.fault, "says": fault.says} for fault in account.faults],
        "sha256": one.sha256,
    }


def _moment(value: date | str) -> str:
    return rfc3339(value) if isinstance(value, datetime) else str(value)


def finding_lines(findings: pl.DataFrame) -> Iterator[str]:
    """Yield each finding as JSON text, its members in the order of the contract."""
    instant = pl.col("since", "until", "closed_at").dt.strftime("%Y-%m-%dT%H:%M:%S%.fZ")
    table = findings.with_columns(instant, subject=pl.struct(kind="subject_kind", id="subject"))
    before = ("finding", "rule_set", "rule", "edition", "grading", "outcome", "subject")
    after = ("missing", "evidence", "affected", "message", "correction", "caution", "permission")
    first = pl.struct(*before, "van", "tank", "since", "until").struct.json_encode()
    rest = pl.struct(*after, *LIFE).struct.json_encode()
    line = pl.concat_str(
        first.str.strip_suffix("}"),
        pl.lit(',"measured":'),
        "measured",
        pl.lit(',"limits":'),
        "limits",
        pl.lit(',"decision":'),
        "decision",
        pl.lit(","),
        rest.str.slice(1),
    )
    for some in table.iter_slices(FINDINGS_AT_ONCE):
        yield from some.select(line.alias("line"))["line"]


def _told(report: Report, findings: pl.DataFrame) -> Iterator[str]:
    """Yield each finding as JSON text, with its explanation if that was asked for."""
    lines = finding_lines(findings)
    return lines if report.explained is None else _explained(lines, findings, report.explained)


def _explained(
    lines: Iterable[str], findings: pl.DataFrame, explained: Explanations
) -> Iterator[str]:
    keys = findings.select("finding", "since").iter_rows()
    for line, key in zip(lines, keys, strict=True):
        member = plain_json(member_data(explained[key]))
        yield f'{line.removesuffix("}")},"explanation":{member}}}'


def _listed(lines: Iterable[str]) -> Iterator[str]:
    """Yield a list in JSON text, a line for each of its members."""
    before = "[\n"
    for line in lines:
        yield before + line
        before = ",\n"
    yield "[]" if before == "[\n" else "\n]"
