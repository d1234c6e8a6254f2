"""Permissions asked for by one person and given by another, as entries of a record book."""

from datetime import UTC, date, datetime, timedelta
from threading import Barrier, Thread

import pytest

from qa_engine.book import Submission, create_book
from qa_engine.book.house import permissions_in
from qa_engine.book.permission_requests import (
    APPROVED,
    OPEN,
    REFUSED,
    TAKEN_BACK,
    Asked,
    requests_in,
)
from qa_engine.book.permitting import Giving, approve, ask, ask_otherwise, refuse, take_back
from qa_engine.book.replacing import OvertakenError
from qa_engine.book.verify import verify
from qa_engine.errors import BookError
from qa_engine.facts import ENGINE_FACTS
from qa_engine.facts.catalogue import Catalogue
from qa_engine.intake import read_register
from qa_engine.permissions import CONCESSION, DEVIATION_PERMIT, Circumstances, in_force
from qa_engine.rulesets import read_rule_sets

NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)
RULE = """
  - rule: {name}
    title: Low
    subject: reading
    requires: outlet_tds < limit
    limits: {{limit: {{is: 20 mg/L, basis: common practice}}}}
    grading: minor
    says: It read {{outlet_tds}}.
    correction: Change the resin.
    permission: {permission}
    examples:
      conforms: [{{outlet_tds: 19 mg/L}}]
      does_not_conform: [{{outlet_tds: 20 mg/L}}]
      undecided: [{{}}]
"""
RULES = (
    """
rule_set: house
title: House rules
edition: 2026-01
in_force: {from: 2026-01-01}
owner: nobody
rules:
"""
    + RULE.format(name="low", permission="by request")
    + RULE.format(name="safe", permission="never")
)
REGISTER = """
operator: {name: Invented Rinsing, time_zone: Europe/Paris}
vans: [{van: V1, base: north}]
tanks: [{tank: T1, van: V1, vessel_volume: 20 L}]
"""
PERMIT = Asked(
    DEVIATION_PERMIT, "house", "low", "V1", "", "Resin is late.", "2026-03-02", "2026-03-09"
)


def otherwise(**changed):
    return Asked(**{**vars(PERMIT), **changed})


def entered(key, by="P-07", at=NOON):
    return Submission(key, at, by)


@pytest.fixture
def giving(tmp_path):
    (tmp_path / "register.yaml").write_text(REGISTER)
    register = read_register(tmp_path / "register.yaml")
    editions = read_rule_sets([("rules.yaml", RULES.encode())], Catalogue.of(ENGINE_FACTS))
    return Giving(Circumstances(editions, register, NOON, by_day=False))


@pytest.fixture
def book(tmp_path):
    made = create_book(
        tmp_path / "fleet.book",
        operator="Invented Rinsing",
        time_zone="Europe/Paris",
        entered_at=NOON,
        entered_by="P-00",
    )
    yield made
    made.close()


def only(book):
    (one,) = requests_in(book)
    return one


def test_a_permission_that_is_asked_for_does_not_count_before_another_approves_it(book, giving):
    asked = otherwise(findings=("house/low/reading/R1",))
    assert ask(book, asked, giving, entered("k")) == "PR-1"
    one = only(book)
    assert (one.state, one.requested_by, one.requested_at) == (OPEN, "P-07", NOON)
    assert (one.about, one.van, one.tank, one.reason) == ("house/low", "V1", None, "Resin is late.")
    assert one.findings == ("house/low/reading/R1",)
    assert permissions_in(book) == ()
    at = NOON + timedelta(hours=2)
    approve(book, "PR-1", one.entry, giving, entered("a", "P-02", at))
    (given,) = permissions_in(book)
    assert (given.permission, given.requested_by, given.approved_by) == ("PR-1", "P-07", "P-02")
    assert (given.requested_on, given.approved_on) == (NOON, at)
    assert (given.begins, given.until) == (at, date(2026, 3, 9))
    decided = only(book)
    assert (decided.state, decided.decision.by, decided.decision.at) == (APPROVED, "P-02", at)
    assert verify(book) == []


def test_a_permit_holds_from_its_approval_to_the_end_of_its_last_day(book, giving):
    import polars as pl

    ask(book, PERMIT, giving, entered("k"))
    approve(book, "PR-1", only(book).entry, giving, entered("a", "P-02"))
    # The operator's 9 March ends at 23:00 UTC, since Paris is an hour ahead.
    instants = [NOON - timedelta(seconds=1), NOON, datetime(2026, 3, 9, 22, 59, tzinfo=UTC)]
    instants.append(datetime(2026, 3, 9, 23, tzinfo=UTC))
    told = pl.Series(instants, dtype=pl.Datetime("us", "UTC"))
    (given,) = permissions_in(book)
    assert in_force(given, told, giving.known.register.zone).to_list() == [False, True, True, False]


def test_a_concession_ends_with_its_approval_at_the_latest(book, giving):
    asked = otherwise(type=CONCESSION, begins="2026-03-01", until="2026-03-02")
    ask(book, asked, giving, entered("k"))
    approve(book, "PR-1", only(book).entry, giving, entered("a", "P-02"))
    (given,) = permissions_in(book)
    assert (given.begins, given.until) == (date(2026, 3, 1), NOON)


@pytest.mark.parametrize("approver", ["P-07", "p-07"])
def test_who_asked_for_it_can_neither_approve_nor_refuse_it(book, giving, approver):
    ask(book, PERMIT, giving, entered("k"))
    seen = only(book).entry
    with pytest.raises(BookError, match="asked for PR-1; another person must approve it"):
        approve(book, "PR-1", seen, giving, entered("a", approver))
    with pytest.raises(BookError, match="can only take it back"):
        refuse(book, "PR-1", seen, "No.", entered("r", approver))
    assert only(book).state == OPEN
    assert permissions_in(book) == ()


def test_a_refused_request_is_kept_with_the_reason(book, giving):
    ask(book, PERMIT, giving, entered("k"))
    with pytest.raises(BookError, match="say why it is refused"):
        refuse(book, "PR-1", only(book).entry, " ", entered("r0", "P-02"))
    refuse(book, "PR-1", only(book).entry, "There is resin in the store.", entered("r", "P-02"))
    one = only(book)
    assert (one.state, one.decision.reason) == (REFUSED, "There is resin in the store.")
    assert permissions_in(book) == ()
    with pytest.raises(OvertakenError, match=r"Meanwhile P-02 refused PR-1 \(There is resin"):
        approve(book, "PR-1", one.entry, giving, entered("a", "P-04"))


def test_only_who_asked_takes_it_back_or_asks_for_something_else(book, giving):
    ask(book, PERMIT, giving, entered("k"))
    with pytest.raises(BookError, match="P-07 asked for PR-1; only they can take it back"):
        take_back(book, "PR-1", only(book).entry, "", entered("t", "P-02"))
    later = otherwise(until="2026-03-12")
    with pytest.raises(BookError, match="only they can change it"):
        ask_otherwise(book, "PR-1", only(book).entry, later, giving, entered("c", "P-02"))
    ask_otherwise(book, "PR-1", only(book).entry, later, giving, entered("d"))
    assert only(book).until == date(2026, 3, 12)
    take_back(book, "PR-1", only(book).entry, "", entered("u"))
    assert only(book).state == TAKEN_BACK


def test_who_approves_what_was_changed_meanwhile_is_told_and_nothing_is_given(book, giving):
    ask(book, PERMIT, giving, entered("k"))
    seen = only(book).entry
    longer = otherwise(until="2026-03-30")
    ask_otherwise(book, "PR-1", seen, longer, giving, entered("c"))
    with pytest.raises(OvertakenError, match="Meanwhile P-07 changed what PR-1 asks for"):
        approve(book, "PR-1", seen, giving, entered("a", "P-02"))
    assert permissions_in(book) == ()


def test_of_two_who_decide_at_once_one_wins_and_the_other_is_told(book, giving):
    ask(book, PERMIT, giving, entered("k"))
    seen, start, told = only(book).entry, Barrier(2), []

    def deciding(by):
        start.wait()
        try:
            if by == "P-02":
                approve(book, "PR-1", seen, giving, entered("a", by))
            else:
                refuse(book, "PR-1", seen, "No.", entered("r", by))
        except OvertakenError as error:
            told.append(str(error))

    deciders = [Thread(target=deciding, args=(by,)) for by in ("P-02", "P-04")]
    for one in deciders:
        one.start()
    for one in deciders:
        one.join()
    assert len(told) == 1
    winner = only(book).decision.by
    assert told[0].startswith(f"Meanwhile {winner} ")
    assert len(permissions_in(book)) == (winner == "P-02")
    assert verify(book) == []


def test_approving_twice_with_one_key_gives_one_permission(book, giving):
    ask(book, PERMIT, giving, entered("k"))
    seen = only(book).entry
    for _ in range(2):
        approve(book, "PR-1", seen, giving, entered("a", "P-02"))
    assert len(permissions_in(book)) == 1
    assert book.size() == seen + 2


@pytest.mark.parametrize(
    ("asked", "told"),
    [
        (otherwise(rule="safe"), "house/safe takes no permission"),
        (otherwise(until="2026-08-01"), "for more than 90 days"),
        (otherwise(rule_set="home"), "'home' did not judge here.*Did you mean 'house'"),
        (otherwise(van="V2"), "register has no van 'V2'"),
        (otherwise(begins="2.3.2026"), "from: '2.3.2026' is not a day; expected a day written"),
        (otherwise(until="2026-03-01"), "until: it ends on 2026-03-01, before it begins"),
        (
            otherwise(begins="2026-02-20", until="2026-03-01"),
            "until: 2026-03-01 has passed already",
        ),
        (otherwise(type=CONCESSION, begins="2026-03-04"), "from: 2026-03-04 lies ahead"),
        (otherwise(reason=" "), "the reason: missing"),
        (otherwise(type="leave"), "the type: 'leave' is not known"),
    ],
)
def test_what_may_not_be_given_is_not_even_asked_for(book, giving, asked, told):
    with pytest.raises(BookError, match=told):
        ask(book, asked, giving, entered("k"))
    assert requests_in(book) == ()


def test_a_permission_that_came_from_a_file_keeps_its_id_to_itself(book, giving):
    entry = {"key": "f", "entered_at": NOON, "entered_by": "P-02"}
    book.put("permission", "PR-1", {"anything": 1}, **entry)
    assert ask(book, PERMIT, giving, entered("k")) == "PR-2"
