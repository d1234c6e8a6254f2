"""Proposals: what each would change, and the second person's decision about it."""

from collections.abc import Callable
from datetime import date
from typing import Any
from uuid import uuid4

from flask import Blueprint, Response, abort, flash, redirect, render_template, request, url_for

from qa_engine.book import Submission
from qa_engine.book.adopting import RULE_SET, Rulebook, adopt
from qa_engine.book.draft import SOURCE, after, before
from qa_engine.book.lookout import FleetState
from qa_engine.book.proposals import Proposal, proposals_in
from qa_engine.book.proposing import put_aside
from qa_engine.book.replacing import OvertakenError
from qa_engine.errors import BookError, RuleSetError
from qa_engine.preview.adoption import adoption_of
from qa_engine.report.comparison import Comparison
from qa_engine.report.comparison_as_csv import changes_csv
from qa_engine.rulesets import Edition, read_rule_sets
from qa_engine.web.access import open_to, signed_in
from qa_engine.web.language import translated
from qa_engine.web.office import now, office
from qa_engine.web.rules import editor
from qa_engine.web.rules.previews import Reckoned, preview_of, previews
from qa_engine.web.rules.reckoning import reckoning
from qa_engine.web.rules.roles import PROPOSERS, READERS

pages = Blueprint("proposals", __name__, url_prefix="/rules/proposals")
pages.register_blueprint(editor.pages)

BUSY = "Another preview is being reckoned. Wait until it is done, then press again."
NO_DAY = "Name the day from which it is to be in force, as YYYY-MM-DD."


@pages.get("/")
@open_to(*READERS)
def all_proposals() -> str:
    """Show what was proposed and what became of it, the latest first."""
    found = proposals_in(office().book)[::-1]
    return render_template(
        "rules/proposals.html",
        waiting=[one for one in found if one.is_open],
        decided=[one for one in found if not one.is_open],
        may_propose=signed_in().role in PROPOSERS,
    )


@pages.get("/<proposal>")
@open_to(*READERS)
def one(proposal: str) -> str:
    """Show a proposal: what it words otherwise, what it would change, and the decision."""
    return _page(_sought(proposal))


@pages.post("/<proposal>/preview")
@open_to(*READERS)
def reckon(proposal: str) -> Any:
    """Reckon what a proposal would change, then show it."""
    found, state = _sought(proposal), office().lookout.state(now())
    reckoned = preview_of(found, _edition(found, state), state)
    if reckoned is None:
        return _page(found, says=translated(BUSY)), 503
    return redirect(url_for("rules.proposals.preview", proposal=proposal, key=reckoned.key), 303)


@pages.get("/<proposal>/preview/<key>")
@open_to(*READERS)
def preview(proposal: str, key: str) -> Any:
    """Show what a proposal would change over the fleet's own history."""
    reckoned = _kept(proposal, key)
    if reckoned is None:
        return redirect(url_for("rules.proposals.one", proposal=proposal))
    return render_template(
        "rules/preview.html",
        proposal=_sought(proposal),
        reckoned=reckoned,
        told=reckoning(reckoned),
        grown=office().book.size() - reckoned.entries,
    )


@pages.get("/<proposal>/preview/<key>/changes.csv")
@open_to(*READERS)
def changes(proposal: str, key: str) -> Response:
    """Give every verdict that would change, as CSV."""
    reckoned = _kept(proposal, key)
    if reckoned is None:
        abort(404)
    text = changes_csv(Comparison(reckoned.preview))
    answer = Response(text, content_type="text/csv; charset=utf-8")
    answer.headers.set("Content-Disposition", "attachment", filename=f"{proposal}-changes.csv")
    return answer


@pages.post("/<proposal>/adopt")
@open_to(*PROPOSERS)
def adopting(proposal: str) -> Any:
    """Adopt an edition that somebody else proposed, from a day on."""
    try:
        on = date.fromisoformat(request.form.get("on", ""))
    except ValueError:
        return _page(_sought(proposal), says=translated(NO_DAY)), 422
    state = office().lookout.state(now())
    beside = Rulebook(state.editions, state.inspection.catalogue)
    past_too = "past_too" in request.form

    def adopted(seen: int, by: Submission) -> None:
        adopt(office().book, proposal, seen, on, beside, by, past_too=past_too)

    return _decided(proposal, adopted, translated("Adopted."))


@pages.post("/<proposal>/put-aside")
@open_to(*PROPOSERS)
def putting_aside(proposal: str) -> Any:
    """Withdraw a proposal of one's own, or decline another one's."""
    reason = request.form.get("reason", "")

    def aside(seen: int, by: Submission) -> None:
        put_aside(office().book, proposal, seen, reason, by)

    return _decided(proposal, aside, translated("Kept."))


def _decided(proposal: str, decide: Callable[[int, Submission], None], says: str) -> Any:
    """Enter a decision, or show the proposal as it stands and why nothing was entered."""
    by = Submission(
        editor.key_of(request.form.get("key", "")), now(), signed_in().person, source="web"
    )
    found = _sought(proposal)
    try:
        decide(request.form.get("seen", 0, type=int), by)
    except OvertakenError as error:
        return _page(_sought(proposal), says=str(error)), 409
    except RuleSetError as error:
        return _page(found, says="\n\n".join(map(str, error.problems))), 422
    except BookError as error:
        return _page(found, says=str(error)), 422
    flash(says)
    return redirect(url_for("rules.proposals.one", proposal=proposal), 303)


def _sought(proposal: str) -> Proposal:
    found = (one for one in proposals_in(office().book) if one.proposal == proposal)
    if (sought := next(found, None)) is None:
        abort(404)
    return sought


def _edition(proposal: Proposal, state: FleetState) -> Edition:
    """Return the edition that a proposal holds.

    Raises:
        RuleSetError: it cannot be used any more, as when a fact that it names is gone.
    """
    sources = [(SOURCE, proposal.text.encode())]
    (found,) = read_rule_sets(sources, state.inspection.catalogue, unknown_names="undecided")
    return found


def _kept(proposal: str, key: str) -> Reckoned | None:
    found = previews().get(key)
    return found if found and found.proposal == proposal else None


def _page(proposal: Proposal, *, says: str | None = None) -> str:
    state = office().lookout.state(now())
    edition = _edition(proposal, state)
    others = [e for e in state.editions if (e.rule_set, e.edition) != _name(edition)]
    old = before(edition, others)
    today = state.as_of.astimezone(state.register.zone).date()
    adoption = adoption_of([old] if old else [], [edition])
    return render_template(
        "rules/proposal.html",
        proposal=proposal,
        edition=edition,
        old=old,
        pairs=[pair for pair in adoption.pairs if pair.standing != "unchanged"],
        unchanged=len(adoption.of_standing("unchanged")),
        reckoned=previews().latest_on(proposal.proposal),
        size=office().book.size(),
        lines=proposal.text.split("\n"),
        day_offered=max(edition.in_force_from, today),
        following=after(edition, others),
        first=not office().book.bodies(RULE_SET),
        key=str(uuid4()),
        says=says,
        own=proposal.is_by(signed_in().person),
        may_decide=signed_in().role in PROPOSERS and proposal.is_open,
        may_propose=signed_in().role in PROPOSERS,
    )


def _name(edition: Edition) -> tuple[str, str]:
    return edition.rule_set, edition.edition
