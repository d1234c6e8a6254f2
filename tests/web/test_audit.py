"""The audit: what was judged and by what, and whether the book is whole."""

import sqlite3

import pytest

from qa_engine.book.breach import Breach
from qa_engine.demo import AS_OF
from qa_engine.web import audit
from qa_engine.web.office import EXTENSION

WHOLE = "The book is whole"


@pytest.fixture
def state(site):
    return site.app.extensions[EXTENSION].lookout.state(AS_OF)


@pytest.fixture
def page(site):
    return site.visitor("auditor").get("/audit").text


@pytest.mark.parametrize("role", ["auditor", "operator", "administrator"])
def test_whoever_answers_for_the_fleet_sees_the_audit(site, role):
    assert site.visitor(role).get("/audit").status_code == 200


def test_crews_do_not(site):
    assert site.visitor("crew").get("/audit").status_code == 403


def test_every_rule_that_judged_has_its_row(state, page):
    rules = page.split("Coverage:")[1].split("Permissions")[0]
    assert rules.count("<tr><td>") == state.coverage.height
    for rule in state.coverage["rule"]:
        assert f"<small>{rule}</small>" in rules


def test_undecided_and_not_applicable_are_counted(state, page):
    totals = " ".join(page.split("In all:")[1].split("</p>")[0].split())
    for name in ("undecided", "not_applicable"):
        assert f"{state.coverage[name].sum():,} {name.replace('_', ' ')}" in totals


def test_editions_and_plugins_stand_with_their_digests(state, page):
    assert state.inspection.plugins
    for one in (*state.editions, *state.inspection.plugins):
        assert one.sha256 in page


def test_size_and_root_of_the_book_are_those_of_the_book(site, page):
    assert f"{site.book.size():,} entries" in page
    assert site.book.root().hex() in page
    assert site.book.about()["id"] in page


def test_a_whole_book_is_said_to_be_whole_only_once_verified(site, page):
    assert WHOLE not in page
    assert WHOLE in site.visitor("auditor").submit("/audit").text


def test_an_altered_record_is_named(own_site):
    path = own_site.book.engine.url.database
    with own_site.book.reading() as held:
        tables = held.exec_driver_sql("SELECT name FROM sqlite_master WHERE type='trigger'")
        triggers = [row[0] for row in tables]
    with sqlite3.connect(path) as raw:
        for trigger in triggers:
            raw.execute(f'DROP TRIGGER "{trigger}"')
        (record,) = raw.execute("SELECT min(record) FROM reading").fetchone()
        raw.execute("UPDATE reading SET outlet_tds = 1 WHERE record = ?", [record])
    raw.close()
    page = own_site.visitor("auditor").submit("/audit").text
    assert WHOLE not in page
    assert record in page.split('role="alert"')[1].split("</div>")[0]


def test_every_breach_is_named(site, monkeypatch):
    found = [Breach("one is gone", 4), Breach("<b>another</b> differs", 7, 9)]
    monkeypatch.setattr(audit, "verify", lambda book: found)
    page = site.visitor("auditor").submit("/audit").text
    assert "2 things are not as they were entered." in page
    assert "<b>entry 4</b>: one is gone" in page
    assert "<b>entries 7 to 9</b>: &lt;b&gt;another&lt;/b&gt; differs" in page


def test_the_book_is_verified_for_nobody_without_the_form(site):
    assert site.visitor("auditor").client.post("/audit").status_code == 400
