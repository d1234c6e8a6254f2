"""Rules: what is in force in plain words, how often each rule fired, and editions proposed."""

from flask import Blueprint, Response, abort, render_template

from qa_engine.book.adopting import as_written
from qa_engine.book.lookout import FleetState
from qa_engine.book.proposals import proposals_in
from qa_engine.report.handbook import MEANINGS, NOTICE, handbook_of
from qa_engine.report.handbook_history import history_of
from qa_engine.rulesets import Edition
from qa_engine.web.access import open_to, signed_in
from qa_engine.web.accounts import ROLES
from qa_engine.web.office import now, office
from qa_engine.web.rules import proposals
from qa_engine.web.rules.roles import PROPOSERS, READERS
from qa_engine.web.rules.told import force_of, overdue_of, sums_of, told_of

pages = Blueprint("rules", __name__)
pages.register_blueprint(proposals.pages)


@pages.get("/rules")
@open_to(*ROLES)
def in_force() -> str:
    """Show the rule sets in force today, and how often each of their rules fired."""
    state = office().lookout.state(now())
    today = state.as_of.astimezone(state.register.zone).date()
    book = handbook_of(state.editions, today)
    may_read = signed_in().role in READERS
    return render_template(
        "rules/rules.html",
        state=state,
        book=book,
        told={c.edition.rule_set: told_of(c.edition, state.coverage, today) for c in book.chapters},
        ahead=[one for one in state.editions if one.in_force_from > today],
        overdue=overdue_of([chapter.edition for chapter in book.chapters], today),
        waiting=[p for p in proposals_in(office().book) if p.is_open] if may_read else [],
        may_read=may_read,
        may_propose=signed_in().role in PROPOSERS,
        notice=NOTICE,
    )


@pages.get("/rules/sets/<rule_set>")
@open_to(*ROLES)
def one_set(rule_set: str) -> str:
    """Show the edition of a rule set that is in force, or the nearest one."""
    state = office().lookout.state(now())
    today = state.as_of.astimezone(state.register.zone).date()
    mine = [one for one in state.editions if one.rule_set == rule_set]
    begun = [one for one in mine if one.in_force_from <= today]
    if not mine:
        abort(404)
    return _edition(begun[-1] if begun else mine[0], state)


@pages.get("/rules/sets/<rule_set>/<edition>")
@open_to(*ROLES)
def one_edition(rule_set: str, edition: str) -> str:
    """Show an edition: each rule in plain words, its limits, examples and how often it fired."""
    state = office().lookout.state(now())
    return _edition(_sought(rule_set, edition, state), state)


@pages.get("/rules/sets/<rule_set>/<edition>/as-written.yaml")
@open_to(*ROLES, scope="read")
def as_text(rule_set: str, edition: str) -> Response:
    """Give the rule file of an edition as it is written."""
    found = _sought(rule_set, edition, office().lookout.state(now()))
    answer = Response(as_written(found), content_type="application/yaml; charset=utf-8")
    answer.headers.set("Content-Disposition", "attachment", filename=f"{rule_set}-{edition}.yaml")
    return answer


def _sought(rule_set: str, edition: str, state: FleetState) -> Edition:
    named = (one for one in state.editions if (one.rule_set, one.edition) == (rule_set, edition))
    if (found := next(named, None)) is None:
        abort(404)
    return found


def _edition(edition: Edition, state: FleetState) -> str:
    today = state.as_of.astimezone(state.register.zone).date()
    rules = told_of(edition, state.coverage, today)
    mine = [one for one in state.editions if one.rule_set == edition.rule_set]
    return render_template(
        "rules/edition.html",
        state=state,
        edition=edition,
        rules=rules,
        force=force_of(edition, today),
        sums=sums_of(rules),
        late=[one for rule in rules for one in rule.limits if one.overdue],
        history_of_set=history_of(mine, today),
        meanings=MEANINGS,
        notice=NOTICE,
        may_propose=signed_in().role in PROPOSERS,
    )
