"""People: signing in and out, invitations, what each one prefers, tokens for programs."""

from datetime import timedelta
from typing import Any
from urllib.parse import urlsplit

from flask import Blueprint, abort, flash, redirect, render_template, request, session, url_for
from flask_wtf.csrf import generate_csrf

from qa_engine.web.access import ANYONE, SESSION, open_to, signed_in, who
from qa_engine.web.accounts import ROLES, SCOPES, UNITS, Account, AccountError
from qa_engine.web.hardening import brake
from qa_engine.web.language import languages, translated
from qa_engine.web.office import now, office
from qa_engine.web.passwords import LEAST_LENGTH

pages = Blueprint("people", __name__, url_prefix="/people")

LONGEST_TOKEN_DAYS = 365


@pages.get("/sign-in")
@open_to(ANYONE)
def sign_in() -> Any:
    """Show the page to sign in."""
    if who() is not None:
        return redirect(_safe(request.args.get("then")))
    return render_template("people/sign_in.html", then=request.args.get("then", ""))


@pages.post("/sign-in")
@open_to(ANYONE)
def signing_in() -> Any:
    """Sign somebody in."""
    name = request.form.get("sign_in", "").strip()
    brake("sign in")
    found = office().accounts.signed_in(name, request.form.get("password", ""))
    then = request.form.get("then", "")
    if found is None:
        says = translated("That name and password do not belong together.")
        return render_template("people/sign_in.html", then=then, says=says, name=name), 401
    _begin(found)
    return redirect(_safe(then))


@pages.post("/sign-out")
@open_to(*ROLES)
def sign_out() -> Any:
    """Sign out here, or on all devices."""
    if "everywhere" in request.form:
        office().accounts.close_all(signed_in().person)
    else:
        office().accounts.close_session(session.get(SESSION, ""))
    session.clear()
    return redirect(url_for("people.sign_in"))


@pages.get("/invitation/<secret>")
@open_to(ANYONE)
def invitation(secret: str) -> Any:
    """Show the page to accept an invitation."""
    found = office().accounts.invitation(secret, now())
    if found is None:
        abort(404)
    return render_template("people/invitation.html", invitation=found, least=LEAST_LENGTH)


@pages.post("/invitation/<secret>")
@open_to(ANYONE)
def accept(secret: str) -> Any:
    """Accept an invitation: choose a name and a password, and be signed in."""
    brake("accept")
    found = office().accounts.invitation(secret, now())
    if found is None:
        abort(404)
    try:
        account = _accepted(secret)
    except AccountError as error:
        page = render_template(
            "people/invitation.html",
            invitation=found,
            least=LEAST_LENGTH,
            says=str(error),
            name=request.form.get("sign_in", ""),
        )
        return page, 422
    _begin(account)
    return redirect("/")


@pages.get("/me")
@open_to(*ROLES)
def me() -> Any:
    """Show what somebody prefers and their tokens."""
    return _me()


@pages.post("/me")
@open_to(*ROLES)
def prefer() -> Any:
    """Keep what somebody prefers."""
    units, language = request.form.get("units", ""), request.form.get("language", "")
    if language not in languages():
        abort(400)
    office().accounts.prefer(signed_in().person, units, language)
    flash(translated("Kept."))
    return redirect(url_for("people.me"))


@pages.post("/me/tokens")
@open_to(*ROLES)
def hand_out() -> Any:
    """Hand out a token for a program; it is shown once."""
    days = request.form.get("days", type=int) or 0
    if not 1 <= days <= LONGEST_TOKEN_DAYS:
        raise AccountError(f"a token is good for 1 to {LONGEST_TOKEN_DAYS} days; {days} is not")
    label = request.form.get("label", "").strip() or translated("unnamed")
    until = now() + timedelta(days=days)
    scope = request.form.get("scope", "")
    return _me(office().accounts.hand_out(signed_in().person, label, scope, until))


@pages.post("/me/tokens/<digest>/take-back")
@open_to(*ROLES)
def take_back(digest: str) -> Any:
    """End a token."""
    office().accounts.take_back(signed_in().person, digest)
    return redirect(url_for("people.me"))


@pages.get("/")
@open_to("administrator")
def all_people() -> Any:
    """Show who may sign in."""
    return _people()


@pages.post("/invite")
@open_to("administrator")
def invite() -> Any:
    """Invite somebody; the link is shown once."""
    form = request.form
    secret = office().accounts.invite(form.get("person", ""), form.get("role", ""), now())
    return _people(url_for("people.invitation", secret=secret, _external=True))


@pages.post("/<person>/remove")
@open_to("administrator")
def remove(person: str) -> Any:
    """Take somebody's account away."""
    if person == signed_in().person:
        raise AccountError("you cannot remove your own account; another administrator can")
    office().accounts.remove(person)
    return redirect(url_for("people.all_people"))


def _accepted(secret: str) -> Account:
    name, password = request.form.get("sign_in", "").strip(), request.form.get("password", "")
    if not name:
        raise AccountError(translated("Choose a name to sign in with."))
    if len(password) < LEAST_LENGTH:
        says = translated("A password needs at least {least} characters; a sentence serves well.")
        raise AccountError(says.format(least=LEAST_LENGTH))
    return office().accounts.accept(secret, name, password, now())


def _begin(account: Account) -> None:
    """Begin a new session; nothing of what was there before goes on, the form's token neither."""
    session.clear()
    session[SESSION] = office().accounts.open_session(account.person, now())
    # Made here, once: two tabs that ask for their first token at a time would undo each other's.
    generate_csrf()
    session.permanent = True


def _safe(then: str | None) -> str:
    """Return where to go next: an address of ours, or the board."""
    parts = urlsplit(then or "")
    ours = not parts.scheme and not parts.netloc and parts.path.startswith("/")
    risky = "\\" in (then or "") or parts.path.startswith("//")
    return then if then and ours and not risky else "/"


def _me(token: str | None = None) -> str:
    kept = office().accounts.tokens(signed_in().person)
    return render_template("people/me.html", tokens=kept, token=token, scopes=SCOPES, units=UNITS)


def _people(link: str | None = None) -> str:
    return render_template(
        "people/people.html", accounts=office().accounts.all(), roles=ROLES, link=link
    )
