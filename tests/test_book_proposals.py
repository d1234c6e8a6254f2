"""Editions that one person proposes and another one adopts: kept, decided once, never in part."""

import threading
import time
from dataclasses import replace
from datetime import UTC, date, datetime
from importlib.resources import files
from pathlib import Path

import pytest

from qa_engine.book import Submission, create_book
from qa_engine.book.adopting import Rulebook, adopt, as_written
from qa_engine.book.draft import LARGEST, SOURCE, after, before, begun_on, draft_of
from qa_engine.book.house import rules_in
from qa_engine.book.proposals import ADOPTED, DECLINED, OPEN, WITHDRAWN, proposals_in
from qa_engine.book.proposing import propose, put_aside
from qa_engine.book.replacing import OvertakenError
from qa_engine.book.verify import verify
from qa_engine.errors import BookError, RuleSetError
from qa_engine.facts import ENGINE_FACTS
from qa_engine.facts.catalogue import Catalogue
from qa_engine.rulesets import read_rule_sets

NOW = datetime(2026, 3, 1, 12, tzinfo=UTC)
CATALOGUE = Catalogue.of(ENGINE_FACTS)
RULES = """\
rule_set: house
title: House rules
edition: 2026-01
in_force: {from: 2026-01-01}
owner: nobody
rules:
  - rule: low
    title: Low at the outlet
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
OTHER = RULES.replace("rule_set: house", "rule_set: guest")
NEXT = RULES.replace("2026-01\n", "2026-04\n").replace("2026-01-01", "2026-04-01")
RIVAL = NEXT.replace("2026-04\n", "2026-04b\n")
STANDING = read_rule_sets(
    [("house.yaml", RULES.encode()), ("guest.yaml", OTHER.encode())], CATALOGUE
)
BESIDE = Rulebook(STANDING, CATALOGUE)
FIRST = date(2026, 4, 1)


@pytest.fixture
def book(tmp_path):
    entered = {"entered_at": NOW, "entered_by": "P0"}
    with create_book(
        tmp_path / "fleet.book", operator="Invented", time_zone="Europe/Paris", **entered
    ) as made:
        yield made


def by(person, key=None, at=NOW):
    by.number = getattr(by, "number", 0) + 1
    return Submission(key or f"key-{by.number}", at, person)


def drafted(text=NEXT):
    return draft_of(text.encode(), STANDING, CATALOGUE)


def proposed(book, text=NEXT, person="P1"):
    return propose(book, drafted(text), "spots were seen", by(person))


def the(book, id_):
    (found,) = [one for one in proposals_in(book) if one.proposal == id_]
    return found


def adopts(book, id_, person="P2", on=FIRST, seen=None, **kw):
    seen = the(book, id_).entry if seen is None else seen
    adopt(book, id_, seen, on, BESIDE, by(person), **kw)


def refused(content, standing=STANDING):
    """Return what is said about a draft that cannot be proposed."""
    with pytest.raises(RuleSetError) as error:
        draft_of(content, standing, CATALOGUE)
    return error.value.problems


def test_a_proposal_is_kept_with_who_when_and_why_and_judges_nothing(book):
    id_ = proposed(book)
    one = the(book, id_)
    assert (one.proposed_by, one.proposed_at, one.why) == ("P1", NOW, "spots were seen")
    assert (one.rule_set, one.edition, one.text, one.state) == ("house", "2026-04", NEXT, OPEN)
    assert rules_in(book) == []
    assert verify(book) == []


def test_the_same_key_proposes_once(book):
    first = propose(book, drafted(), "why", by("P1", "tapped"))
    size = book.size()
    assert propose(book, drafted(), "why", by("P1", "tapped")) == first
    assert book.size() == size


def test_a_proposal_says_why(book):
    with pytest.raises(BookError, match="say why"):
        propose(book, drafted(), "  ", by("P1"))


@pytest.mark.parametrize("person", ["P1", "p1", " P1 "])
def test_who_proposed_cannot_adopt(book, person):
    id_ = proposed(book)
    with pytest.raises(BookError, match="another person must adopt it"):
        adopts(book, id_, person)
    assert rules_in(book) == []


def test_a_second_person_adopts_from_a_day_on(book):
    id_ = proposed(book)
    adopts(book, id_, on=date(2026, 5, 2))
    became = the(book, id_).became
    assert (became.outcome, became.by, became.from_day) == (ADOPTED, "P2", date(2026, 5, 2))
    body = book.bodies("rule_set")["house/2026-04"]
    assert (body["proposed_by"], body["approved_by"], body["proposal"]) == ("P1", "P2", id_)
    assert body["text"] == NEXT.replace("2026-04-01", "2026-05-02")
    assert verify(book) == []


def test_what_judged_until_now_goes_on_judging_beside_the_first_adoption(book):
    adopts(book, proposed(book))
    editions = read_rule_sets(rules_in(book), CATALOGUE)
    # 2026-03-31 is the day before the first day of the new edition.
    told = [(str(e), e.in_force_until) for e in editions]
    assert told == [
        ("guest 2026-01", None),
        ("house 2026-01", date(2026, 3, 31)),
        ("house 2026-04", None),
    ]
    assert [e.sha256 for e in editions[:2]] == [
        e.sha256 for e in sorted(STANDING, key=lambda e: e.rule_set)
    ]


def test_a_second_adoption_carries_nothing_in(book):
    adopts(book, proposed(book))
    text = NEXT.replace("2026-04\n", "2026-06\n").replace("2026-04-01", "2026-06-01")
    id_ = propose(book, drafted(text), "why", by("P1"))
    size = book.size()
    adopts(book, id_, on=date(2026, 6, 1))
    assert book.size() == size + 2  # the decision and the edition


def test_a_file_with_a_mark_before_its_text_is_carried_to_the_byte():
    content = b"\xef\xbb\xbf" + RULES.replace("\n", "\r\n").encode()
    (edition,) = read_rule_sets([("marked", content)], CATALOGUE)
    assert as_written(edition).encode() == content


def test_a_day_that_has_passed_needs_a_word(book):
    id_ = proposed(book)
    with pytest.raises(BookError, match="2026-02-28 has passed already"):
        adopts(book, id_, on=date(2026, 2, 28))
    adopts(book, id_, on=date(2026, 2, 28), past_too=True)
    assert the(book, id_).state == ADOPTED


def test_today_is_the_operators_day(book):
    id_ = proposed(book)
    # 23:30 UTC on 1 March is 00:30 on 2 March in Paris.
    late = datetime(2026, 3, 1, 23, 30, tzinfo=UTC)
    with pytest.raises(BookError, match="2026-03-01 has passed already"):
        adopt(book, id_, the(book, id_).entry, date(2026, 3, 1), BESIDE, by("P2", at=late))


def test_an_adopted_proposal_is_neither_adopted_again_nor_put_aside(book):
    id_ = proposed(book)
    seen = the(book, id_).entry
    adopts(book, id_)
    size = book.size()
    with pytest.raises(OvertakenError, match="Meanwhile P2 adopted EP-1, in force from 2026-04-01"):
        adopts(book, id_, "P3", seen=seen)
    with pytest.raises(OvertakenError, match="Nothing of yours was written"):
        put_aside(book, id_, the(book, id_).entry, "too late", by("P1"))
    assert book.size() == size


def test_of_two_who_adopt_at_once_one_wins_and_the_other_is_told(book):
    id_ = proposed(book)
    seen = the(book, id_).entry
    said = []

    def try_(person):
        try:
            adopts(book, id_, person, seen=seen)
            said.append("adopted")
        except OvertakenError as error:
            said.append(str(error))

    both = [threading.Thread(target=try_, args=(person,)) for person in ("P2", "P3")]
    for one in both:
        one.start()
    for one in both:
        one.join()
    assert sorted(text[:9] for text in said) == ["Meanwhile", "adopted"]
    assert len(book.bodies("rule_set")) == 3
    assert verify(book) == []


def test_two_proposals_that_begin_on_one_day_cannot_both_be_adopted(book):
    first, second = proposed(book), proposed(book, RIVAL)
    adopts(book, first)
    with pytest.raises(RuleSetError, match="is in force from 2026-04-01 too"):
        adopts(book, second)  # BESIDE does not know yet that the first one was adopted
    assert the(book, second).state == OPEN
    read_rule_sets(rules_in(book), CATALOGUE)


def test_the_same_key_adopts_once(book):
    id_ = proposed(book)
    seen = the(book, id_).entry
    for _ in range(2):
        adopt(book, id_, seen, FIRST, BESIDE, by("P2", "tapped"))
    assert len(book.bodies("rule_set")) == 3


@pytest.mark.parametrize(("person", "outcome"), [("P1", WITHDRAWN), ("P2", DECLINED)])
def test_a_proposal_is_withdrawn_by_its_proposer_and_declined_by_others(book, person, outcome):
    id_ = proposed(book)
    put_aside(book, id_, the(book, id_).entry, "not needed", by(person))
    became = the(book, id_).became
    assert (became.outcome, became.by, became.reason) == (outcome, person, "not needed")
    with pytest.raises(OvertakenError, match=r"\(not needed\)"):
        adopts(book, id_, "P3")
    assert rules_in(book) == []


def test_putting_aside_needs_a_reason(book):
    id_ = proposed(book)
    with pytest.raises(BookError, match="say why"):
        put_aside(book, id_, the(book, id_).entry, " ", by("P1"))


def test_a_proposal_that_is_not_there_is_told(book):
    with pytest.raises(BookError, match="the book has no proposal 'EP-9'"):
        put_aside(book, "EP-9", 1, "why", by("P1"))


def test_what_the_book_knew_then_is_told_of_proposals_too(book):
    id_ = propose(book, drafted(), "why", by("P1"))
    later = datetime(2026, 3, 2, tzinfo=UTC)
    put_aside(book, id_, the(book, id_).entry, "no", by("P1", at=later))
    (then,) = proposals_in(book, NOW)
    assert (then.state, the(book, id_).state) == (OPEN, WITHDRAWN)


def test_all_that_is_wrong_in_a_draft_is_said_at_once_with_places():
    text = NEXT.replace("outlet_tds < limit", "outlet_tdz < limit").replace("minor", "minr")
    problems = refused(text.encode())
    assert [(p.line, p.column) for p in problems] == [(10, 15), (12, 14)]
    assert {p.source for p in problems} == {SOURCE}


def test_examples_that_do_not_hold_and_a_name_that_is_taken_are_said_together():
    problems = refused(RULES.replace("{outlet_tds: 21 mg/L}", "{outlet_tds: 12 mg/L}").encode())
    assert any(p.line == 3 and "is there already" in p.message for p in problems)
    assert any(p.line == 17 for p in problems)


def test_line_ends_and_marks_of_other_systems_are_made_plain():
    content = b"\xef\xbb\xbf" + NEXT.replace("\n", "\r\n").encode()
    assert draft_of(content, STANDING, CATALOGUE).text == NEXT


ALIASES = "a: &a [x, x, x, x, x, x, x, x, x]\n" + "".join(
    f"{name}: &{name} [{', '.join([f'*{last}'] * 9)}]\n"
    for last, name in zip("abcdefgh", "bcdefghi", strict=True)
)


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (ALIASES.encode(), "the alias '*a' is not taken"),
        (b"a: " + b"[" * 100_000, "exceeded maximum nesting depth"),
        (b"{a: " * 30_000, "nested more than 20 deep"),
        (b"- " * 60_000, "nested more than 20 deep"),
        (b"rule_set: caf\xe9", "byte 0xe9 is not UTF-8"),
        ("rule_set: caf\N{REPLACEMENT CHARACTER}".encode(), "could not be read as UTF-8"),
        (b"x" * (LARGEST + 1), "at most 131,072 are taken here"),
        (b"rule_set: a\0b", "cannot be seen and is not taken"),
        (b"!!python/object/apply:os.system [x]", "is not taken"),
        (b"x: &a x\n" + b"y: [" + b"*a, " * 30_000 + b"]", "the alias '*a' is not taken"),
        (b"", "keys and values are expected here"),
    ],
    ids=[
        "aliases", "deep list", "deep mapping", "deep dashes", "not UTF-8", "replaced",
        "oversized", "hidden", "tag", "many aliases", "empty",
    ],
)  # fmt: skip
def test_a_hostile_text_is_refused_quickly_and_says_why(content, told):
    begun = time.perf_counter()
    problems = refused(content)
    assert time.perf_counter() - begun < 2
    assert any(told in problem.message for problem in problems)


def many(count, condition="outlet_tds < limit"):
    head, rule = NEXT.split("rules:\n")
    rule = rule.replace("outlet_tds < limit", condition)
    return f"{head}rules:\n" + "".join(
        rule.replace("rule: low", f"rule: low-{n}") for n in range(count)
    )


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (many(61), "there are 61 rules; at most 60 are taken here"),
        (many(30, " and ".join(["outlet_tds < limit"] * 18)), "the conditions are too long"),
    ],
    ids=["rules", "conditions"],
)
def test_what_would_take_long_to_look_at_is_refused_before(text, told):
    begun = time.perf_counter()
    problems = refused(text.encode())
    assert time.perf_counter() - begun < 2
    assert [told in problem.message for problem in problems] == [True]


@pytest.mark.parametrize("written", ["2026-04-01", "'2026-04-01'", '"2026-04-01"'])
def test_the_first_day_is_written_where_it_stood(written):
    text = NEXT.replace("2026-04-01", written)
    assert begun_on(text, FIRST) == text
    assert begun_on(text, date(2026, 9, 3)) == NEXT.replace("2026-04-01", "2026-09-03")


def test_an_edition_stands_between_those_before_and_after_it():
    new = replace(drafted().edition, in_force_from=date(2026, 2, 1))
    assert str(before(new, STANDING)) == "house 2026-01"
    later = replace(new, edition="2026-09", in_force_from=date(2026, 9, 1))
    assert after(new, [*STANDING, later]) is later
    assert (before(new, [later]), after(new, STANDING)) == (None, None)


def test_every_rule_set_that_ships_can_be_proposed_again_under_a_new_name():
    shipped = sorted(Path(str(files("qa_engine.rules"))).glob("*.yaml"))
    assert shipped
    for file in shipped:
        assert file.stat().st_size < LARGEST
