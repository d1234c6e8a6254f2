"""A front end over the demo fleet's record book, and somebody of each role to use it."""

import re
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import pytest
from argon2 import PasswordHasher
from flask import Flask
from flask.testing import FlaskClient
from werkzeug.routing import (
    AnyConverter,
    BaseConverter,
    FloatConverter,
    IntegerConverter,
    Rule,
)
from werkzeug.test import TestResponse

from qa_engine.book import Book, create_book, open_book
from qa_engine.book.house import rules_in
from qa_engine.book.lookout import Lookout
from qa_engine.cli.rule_files import offered
from qa_engine.demo import AS_OF, write_demo
from qa_engine.intake import read_records, read_register
from qa_engine.plugin_host import installed_plugins
from qa_engine.web import Settings, create_app, passwords
from qa_engine.web.access import SESSION
from qa_engine.web.accounts import ROLES, Accounts
from qa_engine.web.hardening import BRAKE

PASSWORD = "seven wet coaches"
SMALL_REGISTER = """
operator: {name: Quillmere, time_zone: Europe/London}
vans: [{van: V1, base: north}]
tanks: [{tank: T1, van: V1, vessel_volume: 20 L}]
"""
SMALL_DAYS = """record,kind,at,van,tank,outlet_tds,sampled,change,grade,resin_volume
C1,resin_change,2026-07-01T07:00:00Z,V1,T1,,,replaced with new,mixed_bed,14
R1,reading,2026-07-02T08:00:00Z,V1,T1,12,flowing,,,
R2,reading,2026-07-03T08:00:00Z,V1,T1,16,flowing,,,
R3,reading,2026-07-04T08:00:00Z,V1,T1,19.9,flowing,,,
R4,reading,2026-07-05T08:00:00Z,V1,T1,25,flowing,,,
"""
THERE = {"tank": "T1", "kind": "reading", "record": "R4", "filename": "look.css"}
"""What an address names, in the small book."""

FAST = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
"""Passwords of tests need no strength; ``test_people`` looks at how those of people are kept."""

FORM_TOKEN = re.compile(r'name="csrf_token" value="([^"]+)"')


@pytest.fixture(scope="session", autouse=True)
def fast_passwords() -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(passwords, "_hasher", lambda: FAST)
        passwords._nobody.cache_clear()
        yield


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

    def form_token(self) -> str:
        """Return the token that any form of this browser must bring."""
        signed_in = self.client.get("/people/me")
        page = signed_in if signed_in.status_code == 200 else self.client.get("/people/sign-in")
        found = FORM_TOKEN.search(page.text)
        assert found
        return found[1]


@dataclass(frozen=True)
class Door:
    """An address of the front end with a method that it takes."""

    endpoint: str
    method: str
    address: str


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

    def seated(self, role: str) -> Visitor:
        """Return a new browser in which somebody of a role has signed in already."""
        visitor = Visitor(self.app.test_client())
        person = next(one.person for one in self.accounts.all() if one.sign_in == role)
        with visitor.client.session_transaction() as kept:
            kept[SESSION] = self.accounts.open_session(person, self.clock.now)
        return visitor

    def doors(self) -> list[Door]:
        """Return every door there is; parts of addresses that vary are filled in."""
        ways = self.app.url_map.bind("localhost")
        return [
            Door(rule.endpoint, method, ways.build(rule.endpoint, _filled(rule), method))
            for rule in self.app.url_map.iter_rules()
            for method in sorted(rule.methods - {"OPTIONS"})
        ]


def _filled(rule: Rule) -> dict[str, str | int]:
    """Return something for each part of an address that varies."""
    return {name: _something(name, way) for name, way in rule._converters.items()}


def _something(name: str, way: BaseConverter) -> str | int:
    if isinstance(way, AnyConverter):
        return min(way.items)
    return 1 if isinstance(way, IntegerConverter | FloatConverter) else THERE.get(name, "nothing")


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
    _let_in(book)
    book.close()
    return folder / "demo.book"


def _let_in(book: Book) -> None:
    """Give an account of each role, whose name is the role's."""
    accounts = Accounts(book)
    for number, role in enumerate(ROLES, start=1):
        accounts.accept(accounts.invite(f"P-{number:02}", role, AS_OF), role, PASSWORD, AS_OF)


@pytest.fixture(scope="session")
def site(demo_book: Path) -> Iterator[Site]:
    """A front end to look at; tests that write use ``own_site``."""
    yield from _open(demo_book)


@pytest.fixture
def own_site(demo_book: Path, tmp_path: Path) -> Iterator[Site]:
    """A front end over a book of the test's own."""
    yield from _open(Path(shutil.copy(demo_book, tmp_path)))


@pytest.fixture(scope="session")
def browsed_site(demo_book: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    """A front end that all browser tests share, over a book of their own."""
    yield from _open(Path(shutil.copy(demo_book, tmp_path_factory.mktemp("browsed"))))


@pytest.fixture(scope="session")
def small_book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the file of a book with one tank, a few readings and an account of each role."""
    folder = tmp_path_factory.mktemp("small")
    (folder / "register.yaml").write_text(SMALL_REGISTER, encoding="utf-8")
    (folder / "days.csv").write_text(SMALL_DAYS, encoding="utf-8")
    entered = {"entered_at": AS_OF, "entered_by": "P-00"}
    register = read_register(folder / "register.yaml")
    book = create_book(
        folder / "small.book", operator=register.operator, time_zone=register.zone.key, **entered
    )
    book.put_register(register, key="register", **entered)
    frames = read_records([folder / "days.csv"], time_zone=None).frames
    book.add(frames, key="records", source="days.csv", **entered)
    _let_in(book)
    book.close()
    return folder / "small.book"


@pytest.fixture
def small_site(small_book: Path, tmp_path: Path) -> Iterator[Site]:
    """A front end over a small book of the test's own, which is judged in no time."""
    yield from _open(Path(shutil.copy(small_book, tmp_path)))


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
        lookout = Lookout(book, installed_plugins(), lambda host: rules_in(book) or offered(host))
        app = create_app(book, lookout, Settings(b"a key for tests only, 32 bytes..", clock))
        app.testing = True
        yield Site(app, book, Accounts(book), clock)


@pytest.fixture
def each_role(site: Site) -> Callable[[str], Visitor]:
    """Return a way to be somebody of a role."""
    return site.visitor
