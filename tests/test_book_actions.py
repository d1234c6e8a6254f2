"""Corrective actions and requests for permissions in a record book."""

from datetime import UTC, date, datetime, timedelta
from threading import Barrier, Thread

import pytest

from qa_engine.book import Submission, create_book, open_book
from qa_engine.book.acting import Plan, add_note, assign, change, note_on, report_done, withdraw
from qa_engine.book.actions import (
    DONE,
    DONE_BUT_STANDS,
    NOTED,
    OVERDUE,
    SETTLED,
    TO_DO,
    WITHDRAWN,
    actions_by_finding,
    actions_in,
)
from qa_engine.book.replacing import OvertakenError
from qa_engine.book.verify import verify
from qa_engine.errors import BookError

NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)
HIGH, LATE = "house/low/reading/R1", "house/late/tank/T1"
PLAN = Plan("Change the resin of T1.", "P-07", "2026-03-05")


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


def entered(key, by="P-02", at=NOON):
    return Submission(key, at, by)


def only(book):
    (one,) = actions_in(book)
    return one


def test_an_action_says_who_answers_which_findings_with_what_and_by_when(book):
    assert assign(book, [HIGH, LATE, HIGH], PLAN, entered("k"), "Bring two bags.") == "A-1"
    one = only(book)
    assert (one.findings, one.what, one.who) == ((HIGH, LATE), PLAN.what, "P-07")
    assert (one.until, one.asked_by, one.asked_at) == (date(2026, 3, 5), "P-02", NOON)
    assert [(n.by, n.text) for n in one.notes] == [("P-02", "Bring two bags.")]
    assert actions_by_finding([one]) == {HIGH: (one,), LATE: (one,)}


def test_the_same_key_twice_makes_one_action(book):
    assert assign(book, [HIGH], PLAN, entered("k")) == assign(book, [HIGH], PLAN, entered("k"))
    assert len(actions_in(book)) == 1


@pytest.mark.parametrize(
    ("standing", "today", "state"),
    [
        ({HIGH}, date(2026, 3, 5), TO_DO),
        ({HIGH}, date(2026, 3, 6), OVERDUE),
        ({LATE}, date(2026, 3, 6), SETTLED),
        (set(), date(2026, 3, 3), SETTLED),
    ],
)
def test_it_is_overdue_once_its_last_day_has_passed_and_the_finding_still_stands(
    book, standing, today, state
):
    assign(book, [HIGH], PLAN, entered("k"))
    assert only(book).state(standing, today) == state


def test_what_is_reported_done_does_not_make_the_finding_go_away(book):
    assign(book, [HIGH], PLAN, entered("k"))
    at = NOON + timedelta(days=1)
    report_done(
        book, "A-1", only(book).entry, "2026-03-03", "Changed it.", entered("d", "P-07", at)
    )
    one = only(book)
    assert (one.done.by, one.done.on, one.done.what) == ("P-07", date(2026, 3, 3), "Changed it.")
    assert one.state({HIGH}, date(2026, 3, 9)) == DONE_BUT_STANDS
    assert one.state(set(), date(2026, 3, 9)) == DONE
    assert only_then(book, NOON).done is None


def only_then(book, instant):
    (one,) = actions_in(book, instant)
    return one


def test_a_withdrawn_action_keeps_its_reason_and_what_it_was(book):
    assign(book, [HIGH], PLAN, entered("k"))
    withdraw(book, "A-1", only(book).entry, "The van is sold.", entered("w"))
    one = only(book)
    assert one.state({HIGH}, date(2026, 4, 1)) == WITHDRAWN
    assert (one.withdrawn.reason, one.what) == ("The van is sold.", PLAN.what)


def test_a_note_needs_nobody_who_does_anything_and_can_be_assigned_later(book):
    assert note_on(book, [HIGH], "Smells odd.", entered("n", "P-07")) == "A-1"
    assert only(book).state({HIGH}, date(2026, 3, 9)) == NOTED
    change(book, "A-1", only(book).entry, PLAN, entered("a"))
    assert only(book).state({HIGH}, date(2026, 3, 3)) == TO_DO
    assert only(book).notes[0].text == "Smells odd."


def test_notes_of_two_people_at_once_are_both_kept(book):
    assign(book, [HIGH], PLAN, entered("k"))
    start = Barrier(4)

    def noting(number):
        start.wait()
        add_note(book, "A-1", f"note {number}", entered(f"n{number}"))

    writers = [Thread(target=noting, args=(number,)) for number in range(4)]
    for one in writers:
        one.start()
    for one in writers:
        one.join()
    assert sorted(note.text for note in only(book).notes) == [f"note {n}" for n in range(4)]
    assert verify(book) == []


def test_who_changes_what_another_has_changed_meanwhile_is_told_what_happened(book):
    assign(book, [HIGH], PLAN, entered("k"))
    seen = only(book).entry
    report_done(book, "A-1", seen, "2026-03-02", "Changed it.", entered("d", "P-07"))
    size = book.size()
    with pytest.raises(OvertakenError, match=r"Meanwhile P-07 changed A-1.*was done on 2026-03-02"):
        withdraw(book, "A-1", seen, "Not needed.", entered("w"))
    assert book.size() == size


def test_the_same_report_sent_twice_is_one_entry(book):
    assign(book, [HIGH], PLAN, entered("k"))
    seen = only(book).entry
    for _ in range(2):
        report_done(book, "A-1", seen, "2026-03-02", "Changed it.", entered("d", "P-07"))
    assert only(book).entry == seen + 1 == book.size()


def test_what_is_done_can_no_longer_be_changed_but_noted_on(book):
    assign(book, [HIGH], PLAN, entered("k"))
    report_done(book, "A-1", only(book).entry, "2026-03-02", "Changed it.", entered("d", "P-07"))
    with pytest.raises(BookError, match="A-1 was done on 2026-03-02 by P-07"):
        change(book, "A-1", only(book).entry, PLAN, entered("c"))
    add_note(book, "A-1", "Old lot.", entered("n"))
    assert only(book).notes[0].text == "Old lot."


@pytest.mark.parametrize(
    ("plan", "told"),
    [
        (Plan("Change it.", "P-07", "05.03.2026"), "by when: '05.03.2026' is not a day; expected"),
        (Plan("Change it.", "P-07", "2026-02-30"), "by when: '2026-02-30' is not a day of the cal"),
        (Plan("Change it.", "P-07", "2026-03-01"), "by when: 2026-03-01 has passed already"),
        (Plan("", "P-07", "2026-03-05"), "what will be done: missing"),
        (Plan("Change it.", "", "2026-03-05"), "who will do it: missing"),
        (Plan("Change it.", "P-07", ""), "by when: missing"),
        (Plan("a\x07b", "P-07", "2026-03-05"), "what will be done: .*has a control character"),
    ],
)
def test_a_wrong_or_missing_part_is_named_and_nothing_is_kept(book, plan, told):
    with pytest.raises(BookError, match=told):
        assign(book, [HIGH], plan, entered("k"))
    assert actions_in(book) == ()


def test_the_last_day_is_the_operator_s_not_that_of_utc(book):
    late = datetime(2026, 3, 5, 23, 30, tzinfo=UTC)  # 0:30 on 6 March in Paris
    with pytest.raises(BookError, match="2026-03-05 has passed already; expected 2026-03-06"):
        assign(book, [HIGH], PLAN, entered("k", at=late))


def test_nothing_is_reported_done_for_a_day_ahead(book):
    assign(book, [HIGH], PLAN, entered("k"))
    with pytest.raises(BookError, match="2026-03-03 lies ahead; expected 2026-03-02 or before"):
        report_done(book, "A-1", only(book).entry, "2026-03-03", "Changed it.", entered("d"))


def test_an_action_that_the_book_lacks_is_named(book):
    with pytest.raises(BookError, match="no action 'A-9'"):
        add_note(book, "A-9", "Hm.", entered("n"))


def test_an_action_answers_something(book):
    with pytest.raises(BookError, match="the findings: 1 to 500 findings are expected"):
        assign(book, [], PLAN, entered("k"))


def test_another_book_that_is_opened_has_the_actions_too(book, tmp_path):
    assign(book, [HIGH], PLAN, entered("k"))
    with open_book(tmp_path / "fleet.book") as again:
        assert actions_in(again) == actions_in(book)
        assert verify(again) == []
