"""How a form of ours becomes a submission: once, by whoever is signed in."""

from uuid import UUID, uuid4

from flask import abort, request

from qa_engine.book import Submission
from qa_engine.web.access import signed_in
from qa_engine.web.office import now

WORKERS = ("crew", "operator", "administrator")
"""Those who may write anything at all."""

DIRECTORS = ("operator", "administrator")
"""Those who say what others do, decide on requests, and correct records."""


def new_key() -> str:
    """Return a key for one form; sent twice, it is one submission."""
    return str(uuid4())


def submission(reason: str | None = None) -> Submission:
    """Return how the form that was sent comes in."""
    try:
        key = UUID(request.form.get("key", ""))
    except ValueError:
        abort(400)
    return Submission(str(key), now(), signed_in().person, "web", reason)


def typed(*names: str) -> dict[str, str]:
    """Return what was typed into fields of the form that was sent, without blanks around it."""
    return {name: request.form.get(name, "").replace("\r\n", "\n").strip() for name in names}


def seen() -> int:
    """Return the number of the entry that somebody saw when they filled the form."""
    number = request.form.get("seen", type=int)
    if number is None:
        abort(400)
    return number
