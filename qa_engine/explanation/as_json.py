"""An explanation as JSON: everything as data, the same bytes for the same explanation."""

from datetime import UTC, datetime
from typing import Any

from qa_engine.explanation.comparing import Amount
from qa_engine.explanation.finding import NAME_OF, Cited, Explained
from qa_engine.explanation.sought import Sought
from qa_engine.explanation.tree import Part
from qa_engine.plugin_host import Plugin
from qa_engine.wording import plain_json

VERSION = 1


def explanation_json(explained: Explained) -> str:
    """Return an explanation as JSON text, ending with a line feed."""
    return plain_json(explanation_data(explained)) + "\n"


def explanation_data(explained: Explained) -> dict[str, Any]:
    """Return an explanation as plain data."""
    edition, subject = explained.edition, explained.subject
    rule, row = explained.why.rule, explained.finding_row or {}
    return {
        "explanation": VERSION,
        "finding": explained.finding,
        "rule_set": edition.rule_set,
        "rule": rule.rule,
        "edition": edition.edition,
        "sha256": edition.sha256,
        "place": _place(explained),
        "title": rule.title,
        "grading": rule.grading,
        "outcome": explained.outcome,
        "subject": {"kind": rule.subject, "id": subject["subject"]},
        "van": subject["van"],
        "tank": subject["tank"],
        "at": _instant(subject["at"]),
        **_reasons(explained),
        "plugins_failed": [_plugin(plugin, explained) for plugin in explained.failed],
        "message": row.get("message"),
        "correction": row.get("correction"),
        "caution": rule.caution,
        "permission": row.get("permission"),
    }


def member_data(explained: Explained) -> dict[str, Any]:
    """Return what an explanation adds to a finding that is told in full beside it, as plain data.

    The subject is the last member of the finding, the one that is explained.
    """
    return {
        "outcome": explained.outcome,
        "subject": explained.subject["subject"],
        "at": _instant(explained.subject["at"]),
        "place": _place(explained),
        **_reasons(explained),
    }


def _place(explained: Explained) -> dict[str, Any]:
    rule = explained.why.rule
    line, column = explained.edition.document.place_of(rule.path)
    return {"source": rule.source, "line": line, "column": column}


def _reasons(explained: Explained) -> dict[str, Any]:
    """Return what the outcome rests on, and what another one would rest on."""
    why = explained.why
    return {
        "applies": _part(why.applies, explained, "applies_if") if why.applies else None,
        "requires": _part(why.requires, explained, "requires"),
        "facts": [_fact(one) for one in explained.cited],
        "limits": [_limit(explained, name) for name in why.rule.limits],
        "missing": {name: _sought(one) for name, one in explained.sought.items()},
        "cases": {
            name: [{"values": case.values, "outcome": NAME_OF[case.outcome]} for case in cases]
            for name, cases in explained.cases.items()
        },
    }


def _part(part: Part, explained: Explained, key: str) -> dict[str, Any]:
    path = (*explained.why.rule.path, key)
    at = explained.edition.document.problem_in(path, part.offset, "")
    told: dict[str, Any] = {
        "condition": part.text,
        "line": at.line,
        "column": at.column,
        "holds": part.holds,
        "decisive": part.decisive,
    }
    if part.joined:
        inner = [_part(one, explained, key) for one in part.parts]
        return {**told, "joined": part.joined, "parts": inner}
    told["names"] = list(part.names)
    if part.compared:
        told["says"] = part.compared.says
        if part.compared.sign:
            told["sign"] = part.compared.sign
            told["left"], told["right"] = _amount(part.compared.left), _amount(part.compared.right)
    return told


def _amount(amount: Amount | None) -> dict[str, Any] | None:
    return {"value": amount.number, "unit": amount.unit} if amount else None


def _fact(one: Cited) -> dict[str, Any]:
    return {
        "name": one.name,
        "value": one.value,
        "unit": one.fact.unit if one.fact else None,
        "meaning": one.fact.meaning if one.fact else None,
        "record": one.record,
        "at": _instant(one.at),
    }


def _limit(explained: Explained, name: str) -> dict[str, Any]:
    limit = explained.why.rule.limits[name]
    return {
        "name": name,
        "value": limit.of_one(explained.why.known),
        "unit": limit.unit.name,
        "by": limit.by,
        "basis": limit.basis,
        "review_by": str(limit.review_by) if limit.review_by else None,
    }


def _plugin(plugin: Plugin, explained: Explained) -> dict[str, Any]:
    return {
        "name": plugin.name,
        "version": plugin.version,
        "source": plugin.source,
        "sha256": plugin.sha256,
        "reason": plugin.reason,
        "trace": explained.traces.get(plugin.name),
    }


def _sought(sought: Sought) -> dict[str, Any]:
    return {
        "looked_for": sought.looked_for,
        "found": sought.found,
        "lacking": sought.lacking,
        "settled_by": sought.settled_by or None,
        "record": sought.record,
        "at": _instant(sought.at),
        "made_of": [_sought(inner) for inner in sought.inner],
    }


def _instant(instant: datetime | None) -> str | None:
    """Return an instant in UTC as RFC 3339 text."""
    return instant.astimezone(UTC).replace(tzinfo=None).isoformat() + "Z" if instant else None
