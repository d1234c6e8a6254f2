"""The report as JSON: the same bytes for the same inspection, a line for each finding."""

from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from typing import Any

import polars as pl

import qa_engine
from qa_engine.report.outcome import Report
from qa_engine.wording import plain_json

VERSION = 1


def json_report(report: Report) -> str:
    """Return the report as JSON text, ending with a line feed."""
    inspection = report.inspection
    members = {
        **{name: plain_json(value) for name, value in _head(report).items()},
        "coverage": _lines(map(plain_json, inspection.coverage.to_dicts())),
        "findings": _lines(finding_lines(inspection.findings)),
        "due": _lines(map(plain_json, map(_due, inspection.due.to_dicts()))),
    }
    return "{\n" + ",\n".join(f'"{name}": {text}' for name, text in members.items()) + "\n}\n"


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


def rfc3339(instant: datetime) -> str:
    """Return an instant in UTC as RFC 3339 text, without needless zeros."""
    return instant.astimezone(UTC).replace(tzinfo=None).isoformat() + "Z"


def finding_lines(findings: pl.DataFrame) -> Iterator[str]:
    """Yield each finding as JSON text, its members in the order of the contract."""
    instant = pl.col("since", "until").dt.strftime("%Y-%m-%dT%H:%M:%S%.fZ")
    table = findings.with_columns(instant, subject=pl.struct(kind="subject_kind", id="subject"))
    before = ("finding", "rule_set", "rule", "edition", "grading", "outcome", "subject")
    after = ("missing", "evidence", "affected", "message", "correction", "caution", "permission")
    first = pl.struct(*before, "van", "tank", "since", "until").struct.json_encode()
    rest = pl.struct(*after, "stands").struct.json_encode()
    line = pl.concat_str(
        first.str.strip_suffix("}"),
        pl.lit(',"measured":'),
        "measured",
        pl.lit(',"limits":'),
        "limits",
        pl.lit(","),
        rest.str.slice(1),
    )
    yield from table.select(line.alias("line"))["line"]


def _lines(texts: Iterable[str]) -> str:
    listed = ",\n".join(texts)
    return f"[\n{listed}\n]" if listed else "[]"
