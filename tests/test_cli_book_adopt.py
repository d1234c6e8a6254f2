"""``qa-engine book adopt``: rule sets of the house, kept in the record book and judged by."""

import json
from datetime import UTC, datetime
from pathlib import Path

import pytest
from click.testing import CliRunner

from qa_engine.book import open_book
from qa_engine.book.house import rules_in
from qa_engine.book.verify import verify
from qa_engine.cli import book_add, book_adopt, book_create
from qa_engine.cli.program import program

REGISTER = """
operator: {name: Invented Rinsing, time_zone: Europe/Paris}
vans: [{van: V1, base: north}]
tanks: [{tank: T1, van: V1, vessel_volume: 20 L}]
"""
DAY = """record,kind,at,van,tank,outlet_tds,sampled
R1,reading,2026-03-01T08:00:00Z,V1,T1,31,flowing
"""
RULES = """\
rule_set: house
title: House rules
edition: 2026-01
in_force: {from: 2026-01-01}
owner: nobody
rules:
  - rule: low
    title: Low, below 20 µg/mL, at the outlet
    subject: reading
    requires: outlet_tds < limit
    limits: {limit: {is: 20 mg/L, basis: common practice}}
    grading: minor
    says: It read {outlet_tds}.
    correction: Change the resin.
    examples:
      conforms: [{outlet_tds: 19.9 mg/L}]
      does_not_conform: [{outlet_tds: 20 mg/L}, {outlet_tds: 21 mg/L}]
      undecided: [{}]
"""
NEXT = RULES.replace("2026-01\n", "2026-03\n").replace("from: 2026-01-01", "from: 2026-03-01")


class Clock:
    """The clock of the commands; a test sets it."""

    def __init__(self):
        self.now = datetime(2026, 3, 1, 12, tzinfo=UTC)

    def __call__(self):
        return self.now


@pytest.fixture
def clock(monkeypatch):
    told = Clock()
    for module in (book_create, book_add, book_adopt):
        monkeypatch.setattr(module, "now", told)
    return told


@pytest.fixture
def filled(tmp_path, monkeypatch, clock):
    """Return a book with one reading; files that go with it lie in the folder of the test."""
    monkeypatch.chdir(tmp_path)
    Path("register.yaml").write_text(REGISTER)
    Path("day.csv").write_text(DAY)
    write(RULES)
    run("book", "create", "fleet.book", "--by", "P1", "--register", "register.yaml")
    run("book", "add", "fleet.book", "day.csv", "--by", "P1")
    return "fleet.book"


def write(text):
    Path("rules.yaml").write_bytes(text.encode())


def run(*words, status=0):
    done = CliRunner().invoke(program, [str(word) for word in words])
    assert done.exit_code == status, done.output
    return done.stdout, done.stderr


def adopt(book, *words, status=0):
    words = ("rules.yaml", "--by", "P1", "--approved-by", "P2", *words)
    return run("book", "adopt", book, *words, status=status)


def judging(book, *words):
    """Return the rule sets that judge, and the digests of their files."""
    words = ("inspect", book, "--as-of", "2026-03-09T00:00:00Z", "--format", "json", *words)
    done = CliRunner().invoke(program, words)
    assert done.exit_code in (0, 1), done.output
    found = json.loads(done.stdout)["rule_sets"]
    return {f"{one['rule_set']}/{one['edition']}": one["sha256"] for one in found}


def test_a_book_judges_by_what_was_adopted_and_else_by_what_ships(filled):
    shipped = judging(filled)
    assert shipped
    assert "house/2026-01" not in shipped
    assert adopt(filled)[0] == "house/2026-01: adopted.\n"
    assert judging(filled) == judging(filled, "--rules", "rules.yaml")
    assert list(judging(filled)) == ["house/2026-01"]


def test_a_rule_file_is_kept_to_the_byte(filled):
    write("\N{ZERO WIDTH NO-BREAK SPACE}" + RULES.replace("\n", "\r\n"))
    adopt(filled)
    with open_book(filled) as book:
        assert [content for _, content in rules_in(book)] == [Path("rules.yaml").read_bytes()]
        body = book.bodies("rule_set")["house/2026-01"]
        assert (body["proposed_by"], body["approved_by"]) == ("P1", "P2")
        assert verify(book) == []


def test_adopting_the_same_edition_twice_adds_nothing(filled):
    adopt(filled)
    with open_book(filled) as book:
        size = book.size()
    again = adopt(filled, "--approved-by", "P3")[0]
    assert again == "house/2026-01: the book has it already.\n"
    with open_book(filled) as book:
        assert book.size() == size


def test_a_forecast_and_an_explanation_go_by_what_was_adopted(filled):
    ask = ("rules", "explain", "house/low/reading/R1", filled, "--as-of", "2026-03-09T00:00:00Z")
    foretell = ("forecast", filled, "--as-of", "2026-03-09T00:00:00Z", "--format", "json")
    assert "house" in run(*ask, status=2)[1]
    shipped = run(*foretell)
    adopt(filled)
    assert "20 mg/L" in run(*ask)[0]
    assert run(*foretell) == run(*foretell, "--rules", "rules.yaml") != shipped


def test_rules_named_take_the_place_of_those_adopted(filled):
    adopt(filled)
    Path("other.yaml").write_text(RULES.replace("rule_set: house", "rule_set: guest"))
    assert list(judging(filled, "--rules", "other.yaml")) == ["guest/2026-01"]


def test_what_the_book_knew_then_decides_which_rules_judge(filled, clock):
    shipped = judging(filled)
    clock.now = datetime(2026, 3, 3, tzinfo=UTC)
    adopt(filled)
    assert judging(filled, "--known-at", "2026-03-02T23:59:59Z") == shipped
    assert list(judging(filled, "--known-at", "2026-03-03T00:00:00Z")) == ["house/2026-01"]


def test_who_proposes_cannot_approve(filled):
    assert "another person must approve" in adopt(filled, "--approved-by", "p1 ", status=2)[1]
    with open_book(filled) as book:
        assert book.bodies("rule_set") == {}


@pytest.mark.parametrize(
    ("written", "instead", "told"),
    [
        ("outlet_tds < limit", "outlet_tdz < limit", "rules.yaml:10:15: "),
        ("{outlet_tds: 21 mg/L}", "{outlet_tds: 19 mg/L}", "rules.yaml:17:"),
        ("19.9 mg/L", "12 mg/L", "Each rule's examples must score 100 %"),
    ],
)
def test_rules_that_do_not_pass_the_check_are_refused_with_their_place(
    filled, written, instead, told
):
    write(RULES.replace(written, instead))
    assert told in adopt(filled, status=2)[1]
    with open_book(filled) as book:
        assert book.bodies("rule_set") == {}


def test_an_edition_is_reworded_only_with_a_reason(filled):
    adopt(filled)
    write(RULES.replace("Change the resin.", "Change the resin today."))
    assert "the book has house/2026-01 worded otherwise" in adopt(filled, status=2)[1]
    assert adopt(filled, "--reason", "too vague")[0] == "house/2026-01: adopted.\n"
    with open_book(filled) as book:
        assert [content for _, content in rules_in(book)] == [Path("rules.yaml").read_bytes()]


def test_a_next_edition_stands_beside_the_one_before(filled):
    adopt(filled)
    write(NEXT)
    adopt(filled)
    assert list(judging(filled)) == ["house/2026-01", "house/2026-03"]


def test_an_edition_that_begins_with_one_adopted_is_refused_with_its_place(filled):
    adopt(filled)
    write(NEXT.replace("from: 2026-03-01", "from: 2026-01-01"))
    _, err = adopt(filled, status=2)
    assert "rules.yaml:4:18: 'house 2026-01' is in force from 2026-01-01 too" in err
    assert "adopted/house/2026-01.yaml:4:18" in err
