"""Who may use a page: every view says it, and what says nothing is closed."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, TypeVar

from flask import Flask, abort, current_app, g, redirect, request, session, url_for
from werkzeug.wrappers import Response

from qa_engine.web.accounts import ROLES, Account
from qa_engine.web.office import now, office

View = TypeVar("View", bound=Callable[..., Any])
ANYONE = "anyone"
SESSION = "signed_in"


@dataclass(frozen=True)
class Access:
    """Who may use a view.

    Attributes:
        roles: those that may, or ``ANYONE`` alone for people who have not signed in.
        scope: what a token must allow to use it; None where tokens may not.
    """

    roles: tuple[str, ...]
    scope: str | None = None

    def admits(self, who: Account | None) -> bool:
        """Tell whether somebody may use the view."""
        if ANYONE in self.roles:
            return True
        if who is None or who.role not in self.roles:
            return False
        return who.scope is None or who.scope == self.scope


def open_to(*roles: str, scope: str | None = None) -> Callable[[View], View]:
    """Say who may use a view: ``ANYONE``, or some of ``ROLES``."""
    if unknown := set(roles) - {*ROLES, ANYONE}:
        raise ValueError(f"no such role: {', '.join(sorted(unknown))}")

    def said(view: View) -> View:
        view.open_to = Access(roles, scope)  # type: ignore[attr-defined]
        return view

    return said


def access_of(app: Flask, endpoint: str) -> Access | None:
    """Return who may use an endpoint, or None where its view does not say."""
    access: Access | None = getattr(app.view_functions[endpoint], "open_to", None)
    return access


def guard(app: Flask) -> None:
    """Let only those in whom a view is open to."""
    open_to(ANYONE)(app.view_functions["static"])
    app.before_request(_check)


def who() -> Account | None:
    """Return who uses the page, or None."""
    found: Account | None = g.get("who")
    return found


def signed_in() -> Account:
    """Return who uses a page that is open to nobody without an account."""
    found = who()
    if found is None:
        abort(401)
    return found


def bearer() -> str | None:
    """Return the token that a program brought, or None."""
    scheme, _, secret = request.headers.get("Authorization", "").partition(" ")
    return secret.strip() if scheme.lower() == "bearer" else None


def _check() -> Response | None:
    g.who = _recognised()
    if request.endpoint is None:
        return None
    access = access_of(current_app._get_current_object(), request.endpoint)  # type: ignore[attr-defined]
    if access is not None and access.admits(g.who):
        return None
    if g.who is not None or access is None:
        abort(403)
    is_page = request.method in ("GET", "HEAD") and not request.path.startswith("/api/")
    if bearer() is not None or not is_page:
        abort(401)
    return redirect(url_for("people.sign_in", then=request.full_path.rstrip("?")))


def _recognised() -> Account | None:
    """Return whom the request comes from; a cookie counts for nothing beside a token."""
    if (token := bearer()) is not None:
        return office().accounts.of_token(token, now())
    secret = session.get(SESSION)
    return office().accounts.of_session(secret, now()) if secret else None
