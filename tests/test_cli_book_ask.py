"""``qa-engine book ask``, ``decide`` and ``requests``: permissions that two persons make."""

import json
from datetime import UTC, datetime
from pathlib import Path

import pytest
from click.testing import CliRunner

from qa_engine.book import open_book
from qa_engine.book.house import permissions_in
from qa_engine.book.verify import verify
from qa_engine.cli import book_add, book_ask, book_create
from qa_engine.cli.program import program

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


class Clock:
    """The clock of the commands; a test sets it."""

    def __init__(self):
        self.now = datetime(2026, 3, 2, 12, tzinfo=UTC)

    def __call__(self):
        return self.now


@pytest.fixture
def clock(monkeypatch):
    told = Clock()
    for module in (book_create, book_add, book_ask):
        monkeypatch.setattr(module, "now", told)
    return told


@pytest.fixture
def filled(tmp_path, monkeypatch, clock):
    monkeypatch.chdir(tmp_path)
    Path("register.yaml").write_text(REGISTER)
    Path("day.csv").write_text(DAY)
    Path("rules.yaml").write_text(RULES)
    run("book", "create", "fleet.book", "--by", "P1", "--register", "register.yaml")
    run("book", "add", "fleet.book", "day.csv", "--by", "P1")
    return "fleet.book"


def run(*words, status=0):
    done = CliRunner().invoke(program, [str(word) for word in words])
    assert done.exit_code == status, done.output
    return done.stdout if status == 0 else done.stderr


ASKS = ("--rule", "house/low", "--van", "V1", "--reason", "Resin is late.")
DAYS = ("--from", "2026-03-01", "--until", "2026-03-02")
AFTERWARDS = ("--type", "concession", *DAYS)


def ask(*words, by="P-07", status=0):
    words = ("book", "ask", "fleet.book", "--by", by, "--rules", "rules.yaml", *words)
    return run(*words, status=status)


def decide(*words, by="P-02", status=0):
    words = ("book", "decide", "fleet.book", *words, "--by", by, "--rules", "rules.yaml")
    return run(*words, status=status)


def test_what_one_asks_for_counts_once_another_has_approved_it(filled):
    assert ask(*ASKS, *AFTERWARDS) == (
        "PR-1: kept; it counts once another person has approved it.\n"
    )
    assert run("book", "requests", filled) == (
        "PR-1  waits for a decision\n"
        "    P-07: concession for house/low, van V1, 2026-03-01 to 2026-03-02: Resin is late.\n"
    )
    with open_book(filled) as book:
        assert permissions_in(book) == ()
    assert decide("PR-1", "--approve") == "PR-1: approved.\n"
    with open_book(filled) as book:
        assert permissions_in(book)[0].approved_by == "P-02"
        assert verify(book) == []
    words = ("--rules", "rules.yaml", "--as-of", "2026-03-02T12:00:00Z", "--format", "json")
    report = CliRunner().invoke(program, ["inspect", filled, *words])
    assert [one["permission"] for one in json.loads(report.stdout)["findings"]] == ["PR-1"]
    assert "There is no such request." in run("book", "requests", filled, "--open")


def test_a_refused_request_is_listed_with_the_reason(filled):
    ask(*ASKS, *AFTERWARDS)
    assert decide("PR-1", "--refuse", "There is resin.") == "PR-1: refused.\n"
    assert "PR-1  refused by P-02, 2026-03-02: There is resin." in run("book", "requests", filled)
    assert "Meanwhile P-02 refused PR-1" in decide("PR-1", "--approve", by="P-04", status=2)


def test_who_asked_can_take_it_back_and_not_approve_it(filled):
    ask(*ASKS, *AFTERWARDS)
    told = decide("PR-1", "--approve", by="P-07", status=2)
    assert "P-07 asked for PR-1; another person must approve it" in told
    assert decide("PR-1", "--take-back", by="P-07") == "PR-1: taken back.\n"


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ((*ASKS, "--type", "concession", "--from", "1.3.2026", "--until", "2026-03-02"), "'1.3.2"),
        (
            ("--rule", "house/lo", *ASKS[2:], *AFTERWARDS),
            "'house' has no rule 'lo'; did you mean 'low'?",
        ),
        ((*ASKS[:2], "--van", "V9", *ASKS[4:], *AFTERWARDS), "register has no van 'V9'"),
        ((*ASKS, "--type", "leave", *DAYS), "is not one of"),
    ],
)
def test_what_is_wrong_is_told_and_nothing_is_kept(filled, words, told):
    assert told in " ".join(ask(*words, status=2).split())
    assert run("book", "requests", filled) == "There is no such request.\n"


def test_a_decision_says_one_thing(filled):
    ask(*ASKS, *AFTERWARDS)
    assert "say one of: --approve" in decide("PR-1", status=2)
    assert "the book has no request 'PR-9'" in decide("PR-9", "--approve", status=2)
