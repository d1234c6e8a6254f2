"""A front end over the demo fleet's record book, and somebody of each role to use it."""

import re
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import pytest
from flask import Flask
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from qa_engine.book import Book, create_book, open_book
from qa_engine.book.lookout import Lookout
from qa_engine.cli.rule_files import rule_sources
from qa_engine.demo import AS_OF, write_demo
from qa_engine.intake import read_records, read_register
from qa_engine.plugin_host import installed_plugins
from qa_engine.web import Settings, create_app
from qa_engine.web.accounts import ROLES, Accounts
from qa_engine.web.hardening import BRAKE

PASSWORD = "seven wet coaches"
FORM_TOKEN = re.compile(r'name="csrf_token" value="([^"]+)"')


@dataclass
class Clock:
    """A clock that stands until a test moves it."""

    now: datetime = AS_OF

    def __call__(self) -> datetime:
        return self.now


@dataclass(frozen=True)
class Visitor:
    """Somebody at a browser without JavaScript."""

    client: FlaskClient

    def get(self, address: str, **kw: object) -> TestResponse:
        return self.client.get(address, **kw)

    def submit(self, page: str, action: str | None = None, **fields: object) -> TestResponse:
        """Open a page, fill in a form of it and send it to its action, by default the page."""
        found = FORM_TOKEN.search(self.client.get(page).text)
        assert found, f"{page} has no form"
        return self.client.post(action or page, data={"csrf_token": found[1], **fields})


@dataclass(frozen=True)
class Site:
    """One front end with its book and an account of each role, whose name is the role's."""

    app: Flask
    book: Book
    accounts: Accounts
    clock: Clock

    def visitor(self, role: str | None = None) -> Visitor:
        """Return a new browser, signed in if a role is named."""
        visitor = Visitor(self.app.test_client())
        if role:
            # Many tests share a site, whose brake would take their sign-ins for guessing.
            self.app.extensions[BRAKE].storage.reset()
            page = visitor.submit("/people/sign-in", sign_in=role, password=PASSWORD)
            assert page.status_code == 302
        return visitor


@pytest.fixture(scope="session")
def demo_book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the file of a book that holds the demo fleet and an account of each role."""
    folder = tmp_path_factory.mktemp("demo")
    fleet = write_demo(folder / "fleet")
    register = read_register(fleet.register)
    intake = read_records(fleet.records, time_zone=None)
    entered = {"entered_at": AS_OF, "entered_by": "P-00"}
    book = create_book(
        folder / "demo.book", operator=register.operator, time_zone=register.zone.key, **entered
    )
    book.put_register(register, key="register", **entered)
    book.add(intake.frames, key="records", source="demo", **entered)
    accounts = Accounts(book)
    for number, role in enumerate(ROLES, start=1):
        accounts.accept(accounts.invite(f"P-{number:02}", role, AS_OF), role, PASSWORD, AS_OF)
    book.close()
    return folder / "demo.book"


@pytest.fixture(scope="session")
def site(demo_book: Path) -> Iterator[Site]:
    """A front end to look at; tests that write use ``own_site``."""
    yield from _open(demo_book)


@pytest.fixture
def own_site(demo_book: Path, tmp_path: Path) -> Iterator[Site]:
    """A front end over a book of the test's own."""
    yield from _open(Path(shutil.copy(demo_book, tmp_path)))


@pytest.fixture
def empty_site(tmp_path: Path) -> Iterator[Site]:
    """A front end over a book in which nothing stands yet, not even an account."""
    entered = {"entered_at": datetime(2026, 7, 1, tzinfo=UTC), "entered_by": "P-00"}
    path = tmp_path / "empty.book"
    create_book(path, operator="Quillmere", time_zone="Europe/London", **entered).close()
    yield from _open(path)


def _open(path: Path) -> Iterator[Site]:
    with open_book(path) as book:
        clock = Clock()
        lookout = Lookout(book, installed_plugins(), rule_sources([]))
        app = create_app(book, lookout, Settings(b"a key for tests only, 32 bytes..", clock))
        app.testing = True
        yield Site(app, book, Accounts(book), clock)


@pytest.fixture
def each_role(site: Site) -> Callable[[str], Visitor]:
    """Return a way to be somebody of a role."""
    return site.visitor
