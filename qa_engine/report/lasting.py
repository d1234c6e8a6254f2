"""How long a thing was found as it was: where it is judged by the day, also beyond the period."""

from collections.abc import Mapping
from typing import Any

from qa_engine.facts import EVENT_SUBJECTS
from qa_engine.inspection import Assignment
from qa_engine.report.sentences import day


def lasting(row: Mapping[str, Any], task: Assignment) -> str:
    """Return since when a finding is one, ending in "; ", or "" where only its records tell.

    A thing judged as of one instant has been so for longer than the judging shows. In a period it
    is judged at the end of each day, and a run of such days goes on past the period's ends.

    Args:
        row: the finding, as ``qa_engine.findings.SCHEMA``.
        task: what was inspected.
    """
    zone = task.register.zone
    since, until = (day(row[name].astimezone(zone)) for name in ("since", "until"))
    if row["subject_kind"] in EVENT_SUBJECTS:
        return f"since {since}; "
    if task.period is None:
        return ""
    first, after = task.period.instants(zone)
    before, past = row["since"] < first, row["until"] >= after
    whose = "its" if before else "the period's"
    begins = f"from {since}, before the period," if before else f"from {since}"
    return f"each day {begins} to {until}{f', past {whose} end' if past else ''}; "
