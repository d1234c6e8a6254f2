"""The report as a SARIF log, for viewers and trackers that read that format.

What does not conform is a result of kind ``fail`` with a level by its grading; what could not be
decided is kept apart as kind ``open``. Editions are extensions of the tool, with their digests;
a permission is a suppression, so that what is under it is shown and yet not counted as open. An
earlier report to compare with is the baseline.

Source: Static Analysis Results Interchange Format (SARIF) Version 2.1.0 Plus Errata 01, OASIS
Standard, 28 August 2023.
"""

from collections.abc import Iterator
from typing import Any

from qa_engine.report.outcome import Report
from qa_engine.report.sarif_baseline import Baseline
from qa_engine.report.sarif_parts import file_place, message
from qa_engine.report.sarif_results import Results
from qa_engine.report.sarif_tool import rule_id, tool_of
from qa_engine.wording import plain_json, rfc3339

VERSION = "2.1.0"
SCHEMA = (
    "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"
)


def sarif_report(report: Report) -> str:
    """Return the report as SARIF text, ending with a line feed."""
    return "".join(sarif_pieces(report))


def sarif_pieces(report: Report) -> Iterator[str]:
    """Yield the report as SARIF text piece by piece, a line for each result."""
    yield f'{{\n"$schema": "{SCHEMA}",\n"version": "{VERSION}",\n"runs": [{{\n'
    for name, value in _run(report).items():
        yield f'"{name}": {plain_json(value)},\n'
    yield '"results": ['
    for number, line in enumerate(Results(report).lines()):
        yield f"{',' if number else ''}\n{line}"
    yield "\n]}]\n}\n"


def _run(report: Report) -> dict[str, Any]:
    inspection = report.inspection
    as_of = rfc3339(inspection.assignment.as_of)
    period, changes = inspection.assignment.period, inspection.changes
    return {
        "tool": tool_of(report),
        "automationDetails": {"id": f"inspection/{as_of}"},
        "invocations": [_invocation(report)],
        **_files(report),
        "columnKind": "unicodeCodePoints",
        "language": "en",
        "properties": {
            "asOf": as_of,
            "period": period and {"from": str(period.first), "to": str(period.last)},
            "complete": report.complete,
            **({"against": Baseline(changes).properties()} if changes else {}),
            "records": {
                "read": report.tally.read,
                "accepted": inspection.used + report.tally.repeated,
                "refused": report.tally.refused,
                "repeated": report.tally.repeated,
                "later": inspection.later,
            },
            "coverage": inspection.coverage.to_dicts(),
            "due": [_due(row) for row in inspection.due.to_dicts()],
        },
    }


def _due(row: dict[str, Any]) -> dict[str, Any]:
    return {
        "ruleId": rule_id(row["rule_set"], row["rule"]),
        "subject": {"kind": row["subject_kind"], "id": row["subject"]},
        "van": row["van"],
        "tank": row["tank"],
        "fallsDue": str(row["falls_due"]),
    }


def _files(report: Report) -> dict[str, Any]:
    """Return the rule files with their digests, and the plugins that brought them."""
    editions = report.inspection.editions
    places = [file_place(edition.source) for edition in editions]
    bases = dict.fromkeys(place["uriBaseId"] for place in places if "uriBaseId" in place)
    told = {
        base: {"description": message(f"Rule files that the plugin '{base}' brings.")}
        for base in bases
    }
    artifacts = [
        {"location": place, "roles": ["policy"], "hashes": {"sha-256": edition.sha256}}
        for place, edition in zip(places, editions, strict=True)
    ]
    return {**({"originalUriBaseIds": told} if told else {}), "artifacts": artifacts}


def _invocation(report: Report) -> dict[str, Any]:
    """Return how the run went; what kept it from being complete is notified (3.20.21)."""
    failed = [p for p in report.inspection.plugins if p.state == "failed"]
    errors = [f"Plugin '{plugin.name}' failed: {plugin.reason}." for plugin in failed]
    if report.tally.refused:
        errors.append(f"Records that could not be taken: {report.tally.refused}.")
    if not report.inspection.judged:
        errors.append("Nothing was there to judge.")
    notes = list(report.tally.notes)
    if report.inspection.later:
        notes.append(f"Later records that were not used: {report.inspection.later}.")
    notices = [
        {"level": level, "message": message(text)}
        for level, texts in (("error", errors), ("note", notes))
        for text in texts
    ]
    return {
        "executionSuccessful": report.complete,
        "exitCode": report.exit_status,
        "toolExecutionNotifications": notices,
    }
