"""What every page reaches for: the record book, what stands in it, the accounts, the time."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from flask import Flask, current_app, g

from qa_engine.book import Book
from qa_engine.book.lookout import Lookout
from qa_engine.messages import Outbox
from qa_engine.register import Register
from qa_engine.web.accounts import Accounts

EXTENSION = "qa_engine"


@dataclass(frozen=True)
class Settings:
    """How one front end is set up.

    Attributes:
        secret: what cookies are signed with; kept beside the book, never in it.
        now: tells the time, with its zone.
        secure: whether the pages are reached by https only, so that cookies may insist on it.
        largest_body: how many bytes one request may bring.
    """

    secret: bytes
    now: Callable[[], datetime]
    secure: bool = False
    largest_body: int = 32_000_000


@dataclass(frozen=True)
class Office:
    """What one front end works with."""

    book: Book
    lookout: Lookout
    accounts: Accounts
    settings: Settings
    outbox: Outbox


def open_office(app: Flask, office: Office) -> None:
    """Let the pages of an app find what they work with."""
    app.extensions[EXTENSION] = office


def office() -> Office:
    """Return what the front end that answers this request works with."""
    found: Office = current_app.extensions[EXTENSION]
    return found


def now() -> datetime:
    """Return the time."""
    return office().settings.now()


def register() -> Register:
    """Return the register; the book is asked for it once in a request."""
    if "register" not in g:
        g.register = office().lookout.register
    found: Register = g.register
    return found
