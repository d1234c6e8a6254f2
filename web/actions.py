"""Corrective actions: who does what about findings and by when, and what became of it."""

from collections.abc import Callable, Sequence
from typing import Any

import polars as pl
from flask import Blueprint, abort, flash, redirect, render_template, request, url_for

from qa_engine.book.acting import Plan, add_note, assign, change, note_on, report_done, withdraw
from qa_engine.book.actions import STATES
from qa_engine.book.lookout import FleetState
from qa_engine.book.replacing import OvertakenError
from qa_engine.errors import BookError
from qa_engine.report.places import place
from qa_engine.web.access import open_to
from qa_engine.web.accounts import ROLES
from qa_engine.web.answers import Told, answers_to, look, today_in
from qa_engine.web.entering import DIRECTORS, WORKERS, new_key, seen, submission, typed
from qa_engine.web.language import translated
from qa_engine.web.office import now, office

pages = Blueprint("actions", __name__, url_prefix="/actions")

PLANNED = ("what", "who", "until", "note")


@pages.get("")
@open_to(*ROLES)
def all_actions() -> str:
    """Show all actions, those first that want looking at."""
    state = _state()
    answers = answers_to(state)
    wanted = request.args.get("state")
    shown = [told for told in answers.actions if wanted in (None, "", told.state)]
    return render_template(
        "actions/actions.html",
        state=state,
        states=STATES,
        wanted=wanted,
        counts={name: sum(told.state == name for told in answers.actions) for name in STATES},
        shown=shown,
        open_requests=answers.open_requests,
        look=look,
    )


@pages.get("/new")
@open_to(*DIRECTORS)
def new() -> str:
    """Show the form that assigns one action to all findings of a job."""
    return _new(_named(request.args.getlist("finding")), {})


@pages.post("")
@open_to(*DIRECTORS)
def assigning() -> Any:
    """Enter an action."""
    findings, given = _named(request.form.getlist("finding")), typed(*PLANNED)
    plan = Plan(given["what"], given["who"], given["until"])
    try:
        made = assign(office().book, _ids(findings), plan, submission(), given["note"])
    except BookError as error:
        return _new(findings, given, str(error)), 422
    flash(
        translated("{action} is kept. The finding stands until records settle it.").format(
            action=made
        )
    )
    return redirect(url_for("actions.one", action=made), 303)


@pages.post("/notes")
@open_to(*WORKERS)
def noting() -> Any:
    """Enter a note on a finding."""
    findings, text = _named(request.form.getlist("finding")), typed("text")["text"]
    try:
        made = note_on(office().book, _ids(findings), text, submission())
    except BookError as error:
        return _new(findings, {"text": text}, str(error)), 422
    flash(translated("The note is kept."))
    return redirect(url_for("actions.one", action=made), 303)


@pages.get("/<action>")
@open_to(*ROLES)
def one(action: str) -> str:
    """Show an action, and what can be done with it."""
    return _one(action, {})


@pages.post("/<action>/note")
@open_to(*WORKERS)
def note(action: str) -> Any:
    """Add a note to an action."""
    text = typed("text")
    return _did(action, text, lambda: add_note(office().book, action, text["text"], submission()))


@pages.post("/<action>/done")
@open_to(*WORKERS)
def done(action: str) -> Any:
    """Report an action as done."""
    told, book = typed("on", "done"), office().book
    return _did(
        action,
        told,
        lambda: report_done(book, action, seen(), told["on"], told["done"], submission()),
    )


@pages.post("/<action>/change")
@open_to(*DIRECTORS)
def changing(action: str) -> Any:
    """Assign an action anew."""
    given, book = typed(*PLANNED), office().book
    plan = Plan(given["what"], given["who"], given["until"])
    return _did(action, given, lambda: change(book, action, seen(), plan, submission()))


@pages.post("/<action>/withdraw")
@open_to(*DIRECTORS)
def withdrawing(action: str) -> Any:
    """Withdraw an action."""
    why = typed("reason")
    return _did(
        action, why, lambda: withdraw(office().book, action, seen(), why["reason"], submission())
    )


def _state() -> FleetState:
    return office().lookout.state(now())


def _named(findings: Sequence[str]) -> list[dict[str, Any]]:
    """Return the findings of some identities, where they are; 404 if one is not there."""
    wanted = list(dict.fromkeys(findings))
    rows = _rows(_state(), wanted)
    if not wanted or len(rows) < len(wanted):
        abort(404)
    return rows


def _rows(state: FleetState, findings: Sequence[str]) -> list[dict[str, Any]]:
    mine = state.findings.filter(pl.col("finding").is_in(list(findings)))
    latest = mine.unique("finding", keep="last", maintain_order=True)
    return latest.with_columns(place().alias("place")).to_dicts()


def _ids(findings: Sequence[dict[str, Any]]) -> list[str]:
    return [finding["finding"] for finding in findings]


def _did(action: str, given: dict[str, str], does: Callable[[], None]) -> Any:
    """Do something with an action and show it; or show what hinders it, and what was typed."""
    _told(action)
    try:
        does()
    except OvertakenError as error:
        return _one(action, given, str(error)), 409
    except BookError as error:
        return _one(action, given, str(error)), 422
    flash(translated("It is kept."))
    return redirect(url_for("actions.one", action=action), 303)


def _new(findings: list[dict[str, Any]], given: dict[str, str], wrong: str | None = None) -> str:
    return render_template(
        "actions/new.html",
        findings=findings,
        given={"what": _corrections(findings), **given},
        wrong=wrong,
        key=new_key(),
        people=_people(),
        state=_state(),
    )


def _corrections(findings: Sequence[dict[str, Any]]) -> str:
    """Return what the rules would have done about findings."""
    return "\n".join(dict.fromkeys(one["correction"] for one in findings if one["correction"]))


def _people() -> list[str]:
    return sorted(account.person for account in office().accounts.all())


def _told(action: str) -> Told:
    found = [told for told in answers_to(_state()).actions if told.action.action == action]
    if not found:
        abort(404)
    return found[0]


def _one(action: str, given: dict[str, str], wrong: str | None = None) -> str:
    told, state = _told(action), _state()
    answered = {row["finding"]: row for row in _rows(state, told.action.findings)}
    return render_template(
        "actions/action.html",
        told=told,
        one=told.action,
        answered=answered,
        given=given,
        wrong=wrong,
        new_key=new_key,
        people=_people(),
        today=today_in(state),
        state=state,
        look=look,
    )
