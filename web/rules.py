"""The rules in force, in plain words, with how often each was met and not met."""

from collections.abc import Mapping
from typing import Any

from flask import Blueprint, render_template

from qa_engine.book.lookout import FleetState
from qa_engine.report.handbook import MEANINGS, NOTICE, handbook_of
from qa_engine.web.access import open_to
from qa_engine.web.accounts import ROLES
from qa_engine.web.office import now, office

pages = Blueprint("rules", __name__)

Counts = Mapping[tuple[str, str, str], Mapping[str, Any]]


@pages.get("/rules")
@open_to(*ROLES)
def in_force() -> str:
    """Show the rule sets and editions in force today, each rule in plain words."""
    state = office().lookout.state(now())
    today = state.as_of.astimezone(state.register.zone).date()
    return render_template(
        "rules/rules.html",
        state=state,
        book=handbook_of(state.editions, today),
        counts=_counts(state),
        meanings=MEANINGS,
        notice=NOTICE,
    )


def _counts(state: FleetState) -> Counts:
    """Return how often each outcome was given, by rule set, rule and edition."""
    rows = state.coverage.to_dicts()
    return {(row["rule_set"], row["rule"], row["edition"]): row for row in rows}
