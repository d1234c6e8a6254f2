"""The app factory: a blueprint per noun over one record book."""

from importlib import import_module

from flask import Flask

from qa_engine.book import Book
from qa_engine.book.lookout import Lookout
from qa_engine.messages import Outbox
from qa_engine.web.access import guard
from qa_engine.web.accounts import Accounts
from qa_engine.web.faults import tell_faults
from qa_engine.web.hardening import harden
from qa_engine.web.language import speak
from qa_engine.web.navigation import guide
from qa_engine.web.office import Office, Settings, open_office
from qa_engine.web.shown import show

NOUNS = (
    "board",
    "log",
    "people",
    "tanks",
    "findings",
    "rules",
    "audit",
    "charts",
    "imports",
    "actions",
    "permissions",
    "corrections",
    "messages",
    "api",
)
"""The parts of the front end: each a module ``qa_engine.web.<noun>`` that offers ``pages``, with
its templates in ``templates/<noun>``."""


def create_app(book: Book, lookout: Lookout, settings: Settings) -> Flask:
    """Return the front end of a record book.

    Args:
        book: the record book that pages read and crews write to.
        lookout: keeps up to date what the rules say of the book.
        settings: how the front end is set up.
    """
    app = Flask("qa_engine.web")
    app.config.update(
        SECRET_KEY=settings.secret,
        WTF_CSRF_CHECK_DEFAULT=False,
        WTF_CSRF_TIME_LIMIT=None,
        MAX_CONTENT_LENGTH=settings.largest_body,
        SESSION_COOKIE_NAME="__Host-qa" if settings.secure else "qa",
        SESSION_COOKIE_SECURE=settings.secure,
        SESSION_COOKIE_HTTPONLY=True,
        SESSION_COOKIE_SAMESITE="Lax",
    )
    open_office(app, Office(book, lookout, Accounts(book), settings, Outbox(book)))
    for noun in NOUNS:
        app.register_blueprint(import_module(f"qa_engine.web.{noun}").pages)
    guard(app)
    harden(app)
    tell_faults(app)
    speak(app)
    guide(app)
    show(app)
    return app
