"""Findings as SARIF results: what fails, and apart from it what could not be decided."""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from functools import cached_property
from typing import Any

import polars as pl

from qa_engine.permissions import Account
from qa_engine.report.outcome import Report
from qa_engine.report.sarif_baseline import Baseline
from qa_engine.report.sarif_parts import LEVELS, file_line, fleet_place, message, stated
from qa_engine.report.sarif_tool import rule_id
from qa_engine.rulesets import Rule
from qa_engine.subjects import item_of
from qa_engine.wording import plain_json, rfc3339

FINDINGS_AT_ONCE = 5_000

Row = Mapping[str, Any]


@dataclass(frozen=True)
class Results:
    """Tells the findings of a report as SARIF results."""

    report: Report

    def lines(self) -> Iterator[str]:
        """Yield each result as JSON text, in the order of the findings.

        Compared with an earlier report, what that had and this has no more comes last.
        """
        findings = self.report.inspection.findings
        changes = self.report.inspection.changes
        baseline = Baseline(changes) if changes else None
        findings = baseline.beside(findings) if baseline else findings
        instants = pl.col("since", "until", "closed_at").dt.strftime("%Y-%m-%dT%H:%M:%S%.fZ")
        for some in findings.iter_slices(FINDINGS_AT_ONCE):
            for row in some.with_columns(instants).iter_rows(named=True):
                yield plain_json(self.result(row))
        for gone in baseline.without_finding() if baseline else ():
            yield plain_json(gone)

    @cached_property
    def _rules(self) -> Mapping[tuple[str, str, str], tuple[Rule, dict[str, Any]]]:
        """Return each rule with the reference to its descriptor (3.52)."""
        return {
            (rule.rule_set, rule.edition, rule.rule): (
                rule,
                {
                    "id": rule_id(rule.rule_set, rule.rule),
                    "index": place,
                    "toolComponent": {"name": edition.rule_set, "index": at},
                },
            )
            for at, edition in enumerate(self.report.inspection.editions)
            for place, rule in enumerate(edition.rules)
        }

    @cached_property
    def _accounts(self) -> Mapping[str, Account]:
        accounts = self.report.inspection.permissions
        return {one.permission.permission: one for one in accounts}

    def result(self, row: Row) -> dict[str, Any]:
        """Return one finding; its instants are texts."""
        rule, reference = self._rules[row["rule_set"], row["edition"], row["rule"]]
        fails = row["outcome"] == "does not conform"
        return {
            "ruleId": reference["id"],
            "rule": reference,
            # 3.27.9: "open" is what lacks the information to be decided; 3.27.10 gives it no level.
            "kind": "fail" if fails else "open",
            "level": LEVELS[row["grading"]] if fails else "none",
            "message": message(_told(row)),
            "locations": [{"logicalLocations": [_place(row)]}],
            "relatedLocations": _related(row, rule),
            "fingerprints": {"finding/v1": row["finding"]},
            "suppressions": self._suppressions(row["permission"]),
            **stated(baselineState=row.get("baseline")),
            "properties": _properties(row),
        }

    def _suppressions(self, permission: str | None) -> list[dict[str, Any]]:
        """Return the permission a finding is under; an empty list says that it has none."""
        if permission is None:
            return []
        account = self._accounts.get(permission)
        if account is None:
            return [{"kind": "external", "status": "accepted", "justification": permission}]
        one = account.permission
        properties = {
            "permission": one.permission,
            "type": one.type,
            "requestedBy": one.requested_by,
            "approvedBy": one.approved_by,
            "from": _moment(one.begins),
            "until": _moment(one.until),
            "state": account.state,
            "sha256": one.sha256,
        }
        return [
            {
                "kind": "external",
                "status": "accepted",
                "justification": one.reason.strip(),
                "location": {"physicalLocation": file_line(one.source, one.line)},
                "properties": properties,
            }
        ]


def _moment(moment: date) -> str:
    return rfc3339(moment) if isinstance(moment, datetime) else str(moment)


def _told(row: Row) -> str:
    """Return what a finding says, then what to do and what to mind while doing it."""
    caution = f"Caution: {row['caution']}" if row["caution"] else None
    return " ".join(text for text in (row["message"], row["correction"], caution) if text)


def _place(row: Row) -> dict[str, Any]:
    kind = item_of(row["subject_kind"])
    return fleet_place(kind, row["item"], row["van"], row["tank"])


def _related(row: Row, rule: Rule) -> list[dict[str, Any]]:
    """Return the rule as written, the records a verdict rests on, and those it puts in doubt."""
    related: list[dict[str, Any]] = [
        {
            "physicalLocation": file_line(rule.source, rule.line),
            "message": message("The rule as written."),
        }
    ]
    for records, says in (("evidence", "Evidence: {}."), ("affected", "Put in doubt: {}.")):
        related += [
            {
                "logicalLocations": [{"fullyQualifiedName": record, "kind": "record"}],
                "message": message(says.format(record)),
            }
            for record in row[records] or ()
        ]
    return [{"id": number, **one} for number, one in enumerate(related, start=1)]


def _properties(row: Row) -> dict[str, Any]:
    decision = row["decision"]
    return {
        "tags": ["stands" if row["stands"] else "earlier"],
        "edition": row["edition"],
        "grading": row["grading"],
        "outcome": row["outcome"],
        "subject": {"kind": row["subject_kind"], "id": row["subject"]},
        "since": row["since"],
        "until": row["until"],
        "stands": row["stands"],
        "measured": json.loads(row["measured"]),
        "limits": json.loads(row["limits"]),
        **stated(
            missing=row["missing"],
            decision=json.loads(decision) if decision else None,
            closedAt=row["closed_at"],
            closedBy=row["closed_by"],
        ),
    }
