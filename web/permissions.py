"""Permissions: what is asked for by one person and approved or refused by another."""

from collections.abc import Callable, Mapping, Sequence
from datetime import timedelta
from typing import Any

import polars as pl
from flask import Blueprint, abort, flash, redirect, render_template, request, url_for

from qa_engine.book.lookout import FleetState
from qa_engine.book.permission_requests import OPEN, Asked, Request, requests_in
from qa_engine.book.permitting import Giving, approve, ask, ask_otherwise, refuse, take_back
from qa_engine.book.replacing import OvertakenError
from qa_engine.errors import BookError
from qa_engine.facts.fact import EVENT_SUBJECTS
from qa_engine.permissions import CONCESSION, DEVIATION_PERMIT, Circumstances
from qa_engine.register import Register
from qa_engine.report.places import place
from qa_engine.rulesets import Edition, Rule
from qa_engine.web.access import open_to, signed_in
from qa_engine.web.accounts import ROLES
from qa_engine.web.answers import today_in
from qa_engine.web.entering import DIRECTORS, WORKERS, new_key, seen, submission, typed
from qa_engine.web.language import translated
from qa_engine.web.office import now, office

pages = Blueprint("permissions", __name__, url_prefix="/permissions")

ASKS = ("type", "rule_set", "rule", "van", "tank", "reason", "begins", "until")
TYPES = (DEVIATION_PERMIT, CONCESSION)
A_WEEK = timedelta(days=7)


@pages.get("")
@open_to(*ROLES)
def all_requests() -> str:
    """Show what is asked for, and what became of earlier requests."""
    found = requests_in(office().book)
    return render_template(
        "permissions/permissions.html",
        state=_state(),
        open_requests=[one for one in found if one.state == OPEN],
        decided=[one for one in reversed(found) if one.state != OPEN],
    )


@pages.get("/ask")
@open_to(*WORKERS)
def asking() -> str:
    """Show the form that asks for a permission on a finding."""
    finding = _finding(request.args.get("finding", ""))
    return _form(finding, offered(finding, _state()))


@pages.post("")
@open_to(*WORKERS)
def asked() -> Any:
    """Enter a request."""
    finding = _finding(request.form.get("finding", ""))
    given = typed(*ASKS)
    try:
        made = ask(office().book, _asked(given, finding["finding"]), _giving(), submission())
    except BookError as error:
        return _form(finding, given, str(error)), 422
    says = translated("{request} is kept. It counts once another person has approved it.")
    flash(says.format(request=made))
    return redirect(url_for("permissions.one", asked_for=made), 303)


@pages.get("/<asked_for>")
@open_to(*ROLES)
def one(asked_for: str) -> str:
    """Show a request, and what can be done with it."""
    return _one(asked_for, {})


@pages.post("/<asked_for>/approve")
@open_to(*DIRECTORS)
def approving(asked_for: str) -> Any:
    """Approve a request: the permission counts from then on."""
    book = office().book
    return _did(asked_for, {}, lambda: approve(book, asked_for, seen(), _giving(), submission()))


@pages.post("/<asked_for>/refuse")
@open_to(*DIRECTORS)
def refusing(asked_for: str) -> Any:
    """Refuse a request; it is kept with the reason."""
    why, book = typed("why"), office().book
    return _did(asked_for, why, lambda: refuse(book, asked_for, seen(), why["why"], submission()))


@pages.post("/<asked_for>/take-back")
@open_to(*WORKERS)
def taking_back(asked_for: str) -> Any:
    """Take a request back."""
    why, book = typed("why"), office().book
    return _did(
        asked_for, why, lambda: take_back(book, asked_for, seen(), why["why"], submission())
    )


@pages.post("/<asked_for>/change")
@open_to(*WORKERS)
def changing(asked_for: str) -> Any:
    """Ask for something else."""
    given, before, book = typed(*ASKS), _request(asked_for), office().book
    fixed = {"rule_set": before.rule_set, "rule": before.rule or ""}
    wanted = _asked({**given, **fixed}, *before.findings)
    return _did(
        asked_for,
        given,
        lambda: ask_otherwise(book, asked_for, seen(), wanted, _giving(), submission()),
    )


def takes_permission(rule: Rule | None) -> bool:
    """Tell whether a permission may be asked for on a rule."""
    return rule is not None and rule.permission != "never"


def offered(finding: Mapping[str, Any], state: FleetState) -> dict[str, str]:
    """Return what a request for a permission on a finding would ask, for somebody to look over.

    What happened once can only be permitted afterwards, by a concession; what goes on is
    permitted from its approval on.
    """
    today, zone = today_in(state), state.register.zone
    once = finding["subject_kind"] in EVENT_SUBJECTS
    begins = finding["since"].astimezone(zone).date() if once else today
    until = finding["until"].astimezone(zone).date() if once else today + A_WEEK
    return {
        "type": CONCESSION if once else DEVIATION_PERMIT,
        "rule_set": finding["rule_set"],
        "rule": finding["rule"],
        "van": "" if finding["tank"] else finding["van"] or "",
        "tank": finding["tank"] or "",
        "begins": begins.isoformat(),
        "until": until.isoformat(),
    }


def _state() -> FleetState:
    return office().lookout.state(now())


def _giving() -> Giving:
    state = _state()
    return Giving(Circumstances(state.editions, state.register, now(), by_day=False))


def _asked(given: Mapping[str, str], *findings: str) -> Asked:
    return Asked(**{name: given[name] for name in ASKS}, findings=findings)


def _finding(finding: str) -> dict[str, Any]:
    rows = _rows([finding])
    if not rows:
        abort(404)
    return rows[-1]


def _rows(findings: Sequence[str]) -> list[dict[str, Any]]:
    mine = _state().findings.filter(pl.col("finding").is_in(list(findings)))
    latest = mine.unique("finding", keep="last", maintain_order=True)
    return latest.with_columns(place().alias("place")).to_dicts()


def _request(asked_for: str) -> Request:
    found = [one for one in requests_in(office().book) if one.request == asked_for]
    if not found:
        abort(404)
    return found[0]


def _did(asked_for: str, given: dict[str, str], does: Callable[[], None]) -> Any:
    """Do something with a request and show it; or show what hinders it, and what was typed."""
    _request(asked_for)
    try:
        does()
    except OvertakenError as error:
        return _one(asked_for, given, str(error)), 409
    except BookError as error:
        return _one(asked_for, given, str(error)), 422
    flash(translated("It is kept."))
    return redirect(url_for("permissions.one", asked_for=asked_for), 303)


def _form(finding: dict[str, Any], given: dict[str, str], wrong: str | None = None) -> str:
    rule = rule_of(finding["rule_set"], finding["rule"], _state().editions)
    return render_template(
        "permissions/ask.html",
        finding=finding,
        given=given,
        wrong=wrong,
        key=new_key(),
        types=TYPES,
        takes=takes_permission(rule),
        rule=rule,
        where=_places(_state().register),
    )


def rule_of(rule_set: str, rule: str | None, editions: Sequence[Edition]) -> Rule | None:
    """Return the latest wording of a rule; None if no edition has it."""
    worded = [r for e in editions if e.rule_set == rule_set for r in e.rules if r.rule == rule]
    return worded[-1] if worded else None


def _places(register: Register) -> dict[str, list[str]]:
    return {
        name: register.table(f"{name}s")[name].unique().sort().to_list() for name in ("van", "tank")
    }


def _one(asked_for: str, given: dict[str, str], wrong: str | None = None) -> str:
    asked, state, person = _request(asked_for), _state(), signed_in()
    own = asked.requested_by.casefold() == person.person.casefold()
    rule = rule_of(asked.rule_set, asked.rule, state.editions)
    return render_template(
        "permissions/permission.html",
        one=asked,
        account=_account(asked.request, state),
        findings=_rows(asked.findings),
        rule=rule,
        own=own and person.role in WORKERS,
        may_decide=not own and person.role in DIRECTORS,
        given=given,
        wrong=wrong,
        new_key=new_key,
        types=TYPES,
        where=_places(state.register),
        state=state,
    )


def _account(permission: str, state: FleetState) -> Any:
    """Return what became of a permission that was given; None if it was not."""
    found = (a for a in state.inspection.permissions if a.permission.permission == permission)
    return next(found, None)
