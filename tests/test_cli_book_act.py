"""``qa-engine book act`` and ``actions``: corrective actions kept in a record book."""

from datetime import UTC, datetime
from pathlib import Path

import pytest
from click.testing import CliRunner

from qa_engine.book import open_book
from qa_engine.book.actions import actions_in
from qa_engine.book.verify import verify
from qa_engine.cli import book_act, book_add, book_create
from qa_engine.cli.program import program

REGISTER = """
operator: {name: Invented Rinsing, time_zone: Europe/Paris}
vans: [{van: V1, base: north}]
tanks: [{tank: T1, van: V1, vessel_volume: 20 L}]
"""
DAY = """record,kind,at,van,tank,outlet_tds,sampled
R1,reading,2026-03-01T08:00:00Z,V1,T1,31,flowing
"""
BETTER = """record,kind,at,van,tank,outlet_tds,sampled
R2,reading,2026-03-04T08:00:00Z,V1,T1,3,flowing
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
HIGH = "house/low/reading/R1"
PLAN = ("--what", "Change the resin of T1.", "--who", "P-07", "--until", "2026-03-05")


class Clock:
    """The clock of the commands; a test sets it."""

    def __init__(self):
        self.now = datetime(2026, 3, 2, 12, tzinfo=UTC)

    def __call__(self):
        return self.now


@pytest.fixture
def clock(monkeypatch):
    told = Clock()
    for module in (book_create, book_add, book_act):
        monkeypatch.setattr(module, "now", told)
    return told


@pytest.fixture
def filled(tmp_path, monkeypatch, clock):
    monkeypatch.chdir(tmp_path)
    Path("register.yaml").write_text(REGISTER)
    Path("day.csv").write_text(DAY)
    Path("better.csv").write_text(BETTER)
    Path("rules.yaml").write_text(RULES)
    run("book", "create", "fleet.book", "--by", "P1", "--register", "register.yaml")
    run("book", "add", "fleet.book", "day.csv", "--by", "P1")
    return "fleet.book"


def run(*words, status=0):
    done = CliRunner().invoke(program, [str(word) for word in words])
    assert done.exit_code == status, done.output
    return done.stdout if status == 0 else done.stderr


def act(*words, by="P-02", status=0):
    words = ("book", "act", "fleet.book", *words, "--by", by, "--rules", "rules.yaml")
    return run(*words, status=status)


def listed(*words):
    return run("book", "actions", "fleet.book", "--rules", "rules.yaml", *words)


def test_an_action_is_kept_and_listed_with_what_it_answers(filled):
    assert act("--finding", HIGH, *PLAN) == "A-1: P-07 by 2026-03-05: Change the resin of T1.\n"
    text = listed()
    assert "A-1  to do: P-07 by 2026-03-05: Change the resin of T1.\n" in text
    assert f"    {HIGH} (stands)\n" in text
    assert "a finding goes away only when records settle it" in text
    with open_book(filled) as book:
        assert actions_in(book)[0].asked_by == "P-02"
        assert verify(book) == []


def test_it_is_overdue_when_its_day_has_passed_and_settled_when_a_record_says_so(filled, clock):
    act("--finding", HIGH, *PLAN)
    clock.now = datetime(2026, 3, 6, 12, tzinfo=UTC)
    assert "A-1  overdue: " in listed()
    run("book", "add", "fleet.book", "better.csv", "--by", "P1")
    assert "A-1  settled by records: " in listed()


def test_what_is_reported_done_is_listed_so_while_its_finding_stands(filled):
    act("--finding", HIGH, *PLAN)
    act("A-1", "--done", "Changed it.", by="P-07")
    text = "A-1  done, but the finding stands: done on 2026-03-02 by P-07: Changed it.\n"
    assert text in listed()
    assert "There is no such action." in listed("--state", "overdue")


def test_a_note_a_change_and_a_withdrawal_follow_one_another(filled):
    assert act("--finding", HIGH, "--note", "Smells odd.") == "A-1: noted by P-02: Smells odd.\n"
    act("A-1", *PLAN)
    assert act("A-1", "--until", "2026-03-09").startswith("A-1: P-07 by 2026-03-09: Change")
    assert act("A-1", "--withdraw", "Sold.") == "A-1: withdrawn by P-02 (Sold.)\n"
    assert "was withdrawn by P-02 (Sold.)" in act("A-1", "--done", "Did it.", status=2)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--finding", "house/low/reading/R2", *PLAN), "did you mean 'house/low/reading/R1'?"),
        (("--finding", HIGH, *PLAN[:4], "--until", "5.3.2026"), "by when: '5.3.2026' is not a day"),
        (("--finding", HIGH, "--what", "Look."), "who will do it, by when: missing"),
        (("--finding", HIGH), "say one of: --what"),
        (("A-1", "--finding", HIGH, *PLAN), "name the findings of a new action, or the id"),
        (("A-9", "--note", "Hm."), "the book has no action 'A-9'"),
        (("A-9", "--done", "Did.", "--withdraw", "No."), "say one of: --what"),
        (("A-9", "--note", "Did.", "--on", "2026-03-01"), "--on is the day that --done speaks of"),
    ],
)
def test_what_is_wrong_is_told_and_nothing_is_kept(filled, words, told):
    assert told in " ".join(act(*words, status=2).split())
    with open_book(filled) as book:
        assert actions_in(book) == ()


def test_a_state_that_there_is_not_is_told(filled):
    words = ("book", "actions", "fleet.book", "--state", "late")
    assert "no such state 'late'" in run(*words, status=2)
