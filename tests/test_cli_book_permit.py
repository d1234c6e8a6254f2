"""``qa-engine book permit``: permissions that a record book keeps, and that inspections heed."""

import json
from datetime import UTC, datetime
from pathlib import Path

import pytest
from click.testing import CliRunner

from qa_engine.book import open_book
from qa_engine.book.house import permissions_in
from qa_engine.book.lookout import Lookout
from qa_engine.book.verify import verify
from qa_engine.cli import book_add, book_create, book_permit
from qa_engine.cli.program import program
from qa_engine.cli.rule_files import rule_sources

REGISTER = """
operator: {name: Invented Rinsing, time_zone: Europe/Paris}
vans: [{van: V1, base: north}]
tanks: [{tank: T1, van: V1, vessel_volume: 20 L}]
"""
DAY = """record,kind,at,van,tank,outlet_tds,sampled
R1,reading,2026-03-01T08:00:00Z,V1,T1,31,flowing
"""
RULES = """
rule_set: house
title: House rules
edition: 2026-01
in_force: {from: 2026-01-01}
owner: nobody
rules:
  - rule: low
    title: Low
    subject: reading
    requires: outlet_tds < limit
    limits: {limit: {is: 20 mg/L, basis: common practice}}
    grading: minor
    says: It read {outlet_tds}.
    correction: Change the resin.
    examples:
      conforms: [{outlet_tds: 19 mg/L}]
      does_not_conform: [{outlet_tds: 20 mg/L}]
      undecided: [{}]
"""
PERMISSIONS = """
longest: 30 days
permissions:
  - permission: DP-1
    type: deviation permit
    rule: house/low
    scope: {van: V1}
    reason: Resin is late.
    requested_by: P-07
    approved_by: P-01
    requested_on: 2026-02-27
    approved_on: 2026-02-28T17:30:00+01:00
    from: 2026-03-01
    until: 2026-03-09
"""
SECOND = PERMISSIONS.partition("permissions:\n")[2].replace("DP-1", "DP-2")


class Clock:
    """The clock of the commands; a test sets it."""

    def __init__(self):
        self.now = datetime(2026, 3, 1, 12, tzinfo=UTC)

    def __call__(self):
        return self.now


@pytest.fixture
def clock(monkeypatch):
    told = Clock()
    for module in (book_create, book_add, book_permit):
        monkeypatch.setattr(module, "now", told)
    return told


@pytest.fixture
def filled(tmp_path, monkeypatch, clock):
    """Return a book with one reading; files that go with it lie in the folder of the test."""
    monkeypatch.chdir(tmp_path)
    Path("register.yaml").write_text(REGISTER)
    Path("day.csv").write_text(DAY)
    Path("rules.yaml").write_text(RULES)
    Path("permissions.yaml").write_text(PERMISSIONS)
    run("book", "create", "fleet.book", "--by", "P1", "--register", "register.yaml")
    run("book", "add", "fleet.book", "day.csv", "--by", "P1")
    return "fleet.book"


def run(*words, status=0):
    done = CliRunner().invoke(program, [str(word) for word in words])
    assert done.exit_code == status, done.output
    return done.stdout, done.stderr


def permit(book, *words, status=0):
    words = ("permissions.yaml", "--by", "P1", "--rules", "rules.yaml", *words)
    return run("book", "permit", book, *words, status=status)


def inspected(book, *words):
    words = ("--rules", "rules.yaml", "--as-of", "2026-03-09T00:00:00Z", "--format", "json", *words)
    done = CliRunner().invoke(program, ["inspect", book, *words])
    assert done.exit_code in (0, 1), done.output
    return json.loads(done.stdout)


def permitted(report):
    return [finding["permission"] for finding in report["findings"]]


def test_a_permission_in_the_book_is_taken_as_from_its_file(filled):
    named = inspected(filled, "--permissions", "permissions.yaml")
    assert permitted(inspected(filled)) == [None]
    assert permit(filled)[0] == "permissions.yaml: 1 permission taken in.\n"
    report = inspected(filled)
    assert permitted(report) == ["DP-1"]
    assert report == named


def test_the_same_file_twice_adds_nothing(filled):
    permit(filled)
    with open_book(filled) as book:
        size = book.size()
    assert permit(filled)[0] == ("permissions.yaml: the book has it already; nothing was added.\n")
    Path("permissions.yaml").write_text("\n\n" + PERMISSIONS + SECOND)
    assert permit(filled)[0] == (
        "permissions.yaml: 1 permission taken in, 1 the book has already.\n"
    )
    with open_book(filled) as book:
        assert book.size() == size + 1
        assert list(book.bodies("permission")) == ["DP-1", "DP-2"]
        assert verify(book) == []


def test_what_the_book_knew_then_decides_which_permissions_count(filled, clock):
    clock.now = datetime(2026, 3, 3, tzinfo=UTC)
    permit(filled)
    assert permitted(inspected(filled, "--known-at", "2026-03-02T23:59:59Z")) == [None]
    assert permitted(inspected(filled, "--known-at", "2026-03-03T00:00:00Z")) == ["DP-1"]


def test_a_file_named_takes_the_place_of_what_the_book_has(filled):
    permit(filled)
    Path("none.yaml").write_text("permissions: []\n")
    assert permitted(inspected(filled, "--permissions", "none.yaml")) == [None]


def test_explaining_a_finding_heeds_the_permissions_of_the_book(filled):
    words = ("rules", "explain", "house/low/reading/R1", filled, "--rules", "rules.yaml")
    words += ("--as-of", "2026-03-09T00:00:00Z")
    assert "DP-1" not in run(*words)[0]
    permit(filled)
    assert "DP-1" in run(*words)[0]


def test_the_lookout_of_a_book_heeds_its_permissions(filled):
    with open_book(filled) as book:
        lookout = Lookout(book, (), rule_sources([Path("rules.yaml")]))
        as_of = datetime(2026, 3, 9, tzinfo=UTC)
        assert lookout.state(as_of).findings["permission"].to_list() == [None]
        permit(filled)
        assert lookout.state(as_of).findings["permission"].to_list() == ["DP-1"]


def test_who_asked_for_it_cannot_approve_it(filled):
    Path("permissions.yaml").write_text(PERMISSIONS.replace("P-01", "p-07") + SECOND)
    _, err = permit(filled, status=2)
    assert "permissions.yaml:4: permission 'DP-1': p-07 both asked for it and approved it" in err
    with open_book(filled) as book:
        assert book.bodies("permission") == {}


def test_a_rule_that_its_set_lacks_is_told_with_its_place(filled):
    Path("permissions.yaml").write_text(PERMISSIONS.replace("house/low", "house/lo"))
    assert "permissions.yaml:6:11: 'house' has no rule 'lo'" in permit(filled, status=2)[1]


def test_a_permission_is_changed_only_with_a_reason_and_the_old_one_stays_known(filled, clock):
    permit(filled)
    before, clock.now = clock.now, datetime(2026, 3, 3, tzinfo=UTC)
    Path("permissions.yaml").write_text(PERMISSIONS.replace("2026-03-09", "2026-03-12"))
    assert "the book has DP-1 otherwise" in permit(filled, status=2)[1]
    permit(filled, "--reason", "resin later still")
    with open_book(filled) as book:
        assert str(permissions_in(book)[0].until) == "2026-03-12"
        assert str(permissions_in(book, before)[0].until) == "2026-03-09"


def test_a_file_that_is_not_there_is_told(filled):
    words = ("book", "permit", filled, "nowhere.yaml", "--by", "P1")
    assert "nowhere.yaml: no such file" in run(*words, status=2)[1]
