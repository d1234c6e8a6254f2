"""What changed since an earlier report, as JSON."""

import json
from typing import Any

from qa_engine.lifecycle import CLOSED, NEW, NOT_JUDGED, STATES, Changes, inputs_of
from qa_engine.report.outcome import Report
from qa_engine.wording import plain_json, rfc3339

NAMES = ("finding", "earlier", "rule_set", "rule", "grading", "outcome", "item", "van", "tank")


def inputs_json(report: Report) -> dict[str, dict[str, int]]:
    """Return how many records of each kind the report rests on, by item.

    A report that was compared with an earlier one asks the next for what was missing in it, too.
    """
    task, changes = report.inspection.assignment, report.inspection.changes
    known = [changes.earlier.inputs] if changes else []
    counts: dict[str, dict[str, int]] = {}
    for kind, item, count in inputs_of(task.frames, task.as_of, *known).rows():
        counts.setdefault(kind, {})[item] = count
    return counts


def changes_json(changes: Changes) -> str:
    """Return the changes since an earlier report as JSON text, a line for each finding.

    What was not judged this time is told in full, so that a later report can take it up.
    """
    earlier = changes.earlier
    members = [f'"as_of": {plain_json(rfc3339(earlier.as_of))}']
    members.append(f'"sha256": {plain_json(earlier.sha256)}')
    for state in STATES:
        lines = ",\n".join(plain_json(_change(row)) for row in changes.of(state).to_dicts())
        members.append(f'"{state.replace(" ", "_")}": ' + (f"[\n{lines}\n]" if lines else "[]"))
    return "{\n" + ",\n".join(members) + "\n}"


def _change(row: dict[str, Any]) -> dict[str, Any]:
    state = row["state"]
    names = [name for name in NAMES if name != "earlier" or state != NEW]
    told = {**{name: row[name] for name in names}, "since": rfc3339(row["since"])}
    told["until"] = rfc3339(row["until"])
    match state:
        case one if one == CLOSED:
            told |= {"closed_at": rfc3339(row["closed_at"]), "closed_by": row["closed_by"]}
        case one if one == NOT_JUDGED:
            return {**told, "reason": row["reason"], "told": json.loads(row["told"])}
    return {**told, "reason": row["reason"]}
