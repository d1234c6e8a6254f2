"""``serve`` and ``demo --serve``: the first link, the key of cookies, what is missing."""

import sys
from datetime import UTC, datetime

import pytest
import waitress
from click.testing import CliRunner

from qa_engine.book import create_book, open_book
from qa_engine.cli.program import program
from qa_engine.demo import AS_OF
from qa_engine.web.accounts import Accounts
from qa_engine.web.office import now


@pytest.fixture
def served(monkeypatch):
    """Return the apps that were served, and with what."""
    found = []
    monkeypatch.setattr(waitress, "serve", lambda app, **how: found.append((app, how)))
    return found


@pytest.fixture
def book(tmp_path):
    path = tmp_path / "fleet.book"
    entered = {"entered_at": datetime(2026, 7, 1, tzinfo=UTC), "entered_by": "P-00"}
    create_book(path, operator="Quillmere", time_zone="Europe/London", **entered).close()
    return path


def call(*arguments):
    return CliRunner().invoke(program, [str(argument) for argument in arguments])


def test_the_first_start_prints_a_link_that_makes_the_first_account(served, book):
    result = call("serve", book, "--port", "8123")
    assert result.exit_code == 0, result.output
    [link] = [word for word in result.output.split() if "/people/invitation/" in word]
    assert link.startswith("http://127.0.0.1:8123/")
    (app, how) = served[0]
    assert how["port"] == 8123
    assert how["host"] == "127.0.0.1"
    assert app.test_client().get(link.removeprefix("http://127.0.0.1:8123")).status_code == 200


def test_later_starts_print_no_link_and_keep_the_key_of_cookies(served, book):
    with open_book(book) as opened:
        accounts = Accounts(opened)
        secret = accounts.invite("P-01", "administrator", AS_OF)
        accounts.accept(secret, "ada", "seven wet coaches", AS_OF)
    assert "invitation" not in call("serve", book).output
    call("serve", book)
    keys = {app.config["SECRET_KEY"] for app, _ in served}
    assert len(keys) == 1
    assert book.with_name("fleet.book.cookie-key").stat().st_mode & 0o777 == 0o600


def test_with_https_cookies_insist_on_it(served, book):
    call("serve", book, "--https")
    assert served[0][0].config["SESSION_COOKIE_SECURE"] is True


@pytest.mark.parametrize("name", ["fleet.csv", "nothing-here.book"])
def test_what_is_no_book_is_named(served, tmp_path, name):
    result = call("serve", tmp_path / name)
    assert result.exit_code == 2
    assert name in result.output
    assert not served


def test_without_the_libraries_of_the_pages_it_says_what_to_install(book, monkeypatch):
    monkeypatch.setitem(sys.modules, "waitress", None)
    result = call("serve", book)
    assert result.exit_code == 2
    assert "install qa-engine[web]" in result.output


def test_the_demo_s_pages_begin_on_the_fleet_s_last_day(served, tmp_path):
    result = call("demo", tmp_path / "demo", "--serve")
    assert result.exit_code == 0, result.output
    with served[0][0].app_context():
        assert abs((now() - AS_OF).total_seconds()) < 3_600
    assert call("demo", tmp_path / "demo", "--serve").exit_code == 0, "made anew over the first"
