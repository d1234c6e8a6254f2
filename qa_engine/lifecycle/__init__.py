"""The life of a finding from one report to the next: new, still open, closed, or not judged.

A finding closes only when a later record shows that the rule is met, or its own record does once
it was corrected, under a rule whose inputs were all read. Silence closes nothing: not a rule that
was left out, not a file that is missing, not a record that cannot be read.
"""

from qa_engine.lifecycle.answers import NO_ANSWERS, answers_of
from qa_engine.lifecycle.changes import (
    CLOSED,
    NEW,
    NOT_JUDGED,
    STATES,
    STILL_OPEN,
    Changes,
    changes_since,
)
from qa_engine.lifecycle.earlier import Earlier, earlier_report, is_of_interest, is_open
from qa_engine.lifecycle.inputs import inputs_of
from qa_engine.lifecycle.present import Present

__all__ = [
    "CLOSED",
    "NEW",
    "NOT_JUDGED",
    "NO_ANSWERS",
    "STATES",
    "STILL_OPEN",
    "Changes",
    "Earlier",
    "Present",
    "answers_of",
    "changes_since",
    "earlier_report",
    "inputs_of",
    "is_of_interest",
    "is_open",
]
