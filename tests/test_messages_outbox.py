"""The outbox: each message goes out once, is tried again with growing pauses, and then given up."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from threading import Barrier, Thread

import pytest

from qa_engine.book import Book, create_book, open_book
from qa_engine.book.verify import verify
from qa_engine.errors import MessagesError
from qa_engine.messages import Channel, Message, Outbox
from qa_engine.messages.delivery import NotDelivered
from qa_engine.messages.outbox import BROKEN_OFF, KEPT_FOR, LEASE, MOST_TRIES, PAUSES

NOON = datetime(2026, 7, 31, 12, tzinfo=UTC)
MINUTE = timedelta(minutes=1)
YARD = Channel("mail", "yard@quillmere.example")
DOWN = NotDelivered("the mail server is down")


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Book]:
    with create_book(
        tmp_path / "fleet.book",
        operator="Quillmere",
        time_zone="Europe/London",
        entered_at=NOON,
        entered_by="P-00",
    ) as made:
        yield made


@pytest.fixture
def outbox(book):
    return Outbox(book)


def message(identity="morning/North/2026-07-31", to=YARD):
    return Message(identity, to, "North, 31 July", "Nothing stands.\n")


def test_a_message_comes_in_once_however_often_it_is_made(outbox):
    assert outbox.put([message(), message()], NOON) == 1
    assert outbox.put([message()], NOON + MINUTE) == 0
    assert outbox.put([message(to=Channel("mail", "other@quillmere.example"))], NOON) == 1
    assert len(outbox.waiting()) == 2


def test_what_was_claimed_is_nobody_else_s_until_the_lease_runs_out(outbox):
    outbox.put([message()], NOON)
    assert outbox.claim("one", NOON).attempts == 1
    assert outbox.claim("other", NOON + LEASE - timedelta(microseconds=1)) is None
    assert outbox.claim("other", NOON + LEASE).attempts == 2


def test_what_was_sent_is_sent_no_more_even_once_the_lease_is_over(outbox):
    outbox.put([message()], NOON)
    claimed = outbox.claim("one", NOON)
    outbox.sent(claimed.message.key, NOON)
    assert outbox.claim("other", NOON + 2 * LEASE) is None
    assert outbox.put([message()], NOON + 2 * LEASE) == 0, "and it does not come in again"
    [shown] = outbox.were_sent()
    assert (shown.sent_at, shown.reason) == (NOON, None)


def test_the_pauses_grow_and_after_the_last_try_a_message_is_given_up_with_its_reason(outbox):
    outbox.put([message()], NOON)
    at = NOON
    for tries, pause in enumerate(PAUSES, start=1):
        claimed = outbox.claim("one", at)
        assert claimed.attempts == tries
        assert not outbox.failed(claimed, "one", DOWN, at)
        assert outbox.claim("one", at + pause - timedelta(microseconds=1)) is None
        at += pause
    assert outbox.failed(outbox.claim("one", at), "one", DOWN, at)
    assert outbox.claim("one", at + timedelta(days=9)) is None
    [shown] = outbox.given_up()
    assert (shown.attempts, shown.reason) == (MOST_TRIES, "the mail server is down")
    assert list(PAUSES) == sorted(set(PAUSES))


def test_what_is_refused_for_good_is_given_up_at_once_and_can_be_sent_again(outbox):
    outbox.put([message()], NOON)
    claimed = outbox.claim("one", NOON)
    assert outbox.failed(claimed, "one", NotDelivered("550", for_good=True), NOON)
    assert outbox.send_again(claimed.message.key, NOON + MINUTE)
    assert outbox.claim("one", NOON + MINUTE).attempts == 1
    assert not outbox.send_again(claimed.message.key, NOON + MINUTE), "it waits already"
    assert not outbox.send_again("no such key", NOON)


def test_whoever_s_lease_ran_out_cannot_take_the_message_from_who_has_it_now(outbox):
    outbox.put([message()], NOON)
    late = outbox.claim("late", NOON)
    outbox.claim("other", NOON + LEASE)
    refused = NotDelivered("550", for_good=True)
    assert not outbox.failed(late, "late", refused, NOON + LEASE)
    assert outbox.claim("third", NOON + LEASE + MINUTE) is None, "it is still the other's"
    assert outbox.given_up() == []


def test_after_a_crash_between_sending_and_noting_it_is_sent_once_more_under_the_same_key(outbox):
    outbox.put([message()], NOON)
    first = outbox.claim("dies", NOON)
    second = outbox.claim("lives", NOON + LEASE)
    assert second.message == first.message
    assert second.message.key == first.message.key


def test_a_message_during_which_the_process_dies_again_and_again_is_given_up(outbox):
    outbox.put([message()], NOON)
    at = NOON
    for _ in range(MOST_TRIES):
        assert outbox.claim("dies", at) is not None
        at += LEASE
    assert outbox.claim("dies", at) is None
    assert outbox.given_up()[0].reason == BROKEN_OFF


def test_a_stop_goes_out_before_a_morning_message_that_has_waited_longer(outbox):
    outbox.put([message()], NOON)
    outbox.put([message("stop/1")], NOON + MINUTE)
    assert outbox.claim("one", NOON + MINUTE).message.kind == "stop"


def test_of_many_threads_that_claim_at_once_each_message_goes_to_one(book, tmp_path):
    Outbox(book).put([message(f"morning/{n}/x") for n in range(20)], NOON)
    found: list[list[str]] = [[] for _ in range(4)]
    ready = Barrier(4)

    def claim(place: int) -> None:
        with open_book(tmp_path / "fleet.book") as own:
            outbox = Outbox(own)
            ready.wait()
            while (one := outbox.claim(f"thread {place}", NOON)) is not None:
                found[place].append(one.message.key)

    threads = [Thread(target=claim, args=(place,)) for place in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    keys = [key for keys in found for key in keys]
    assert len(keys) == len(set(keys)) == 20


def test_messages_stand_outside_the_log_and_the_book_stays_whole(book, outbox):
    size = book.size()
    outbox.put([message()], NOON)
    outbox.sent(outbox.claim("one", NOON).message.key, NOON)
    assert book.size() == size
    assert verify(book) == []


def test_what_ended_long_ago_is_forgotten_with_its_address(outbox):
    outbox.put([message(), message("stop/1")], NOON)
    outbox.sent(outbox.claim("one", NOON).message.key, NOON)
    outbox.end_round(NOON + KEPT_FOR)
    assert len(outbox.were_sent()) == 1
    outbox.end_round(NOON + KEPT_FOR + MINUTE)
    assert outbox.were_sent() == []
    assert len(outbox.waiting()) == 1, "what waits is not forgotten"
    assert outbox.last_round() == NOON + KEPT_FOR + MINUTE


def test_no_round_was_done_before_the_first(outbox):
    assert outbox.last_round() is None


class Telling:
    """Tells stops of findings, and keeps what it was asked to tell."""

    def __init__(self, outbox: Outbox) -> None:
        self.outbox = outbox
        self.asked: list[list[str]] = []

    def tell(self, *standing: str, entries: int = 1, at: datetime = NOON) -> int:
        def make(new):
            self.asked.append(list(new))
            return [message(f"stop/{entries}/{at}/{'+'.join(new)}")]

        return self.outbox.tell(standing, (entries, at), at, make)


def test_the_first_look_tells_nobody_and_later_ones_only_what_is_new(outbox):
    telling = Telling(outbox)
    assert telling.tell("old") == 0
    assert telling.tell("old", "new", entries=2) == 1
    assert telling.tell("old", "new", entries=3) == 0
    assert telling.asked == [["new"]]


def test_what_went_and_came_back_is_told_again(outbox):
    telling = Telling(outbox)
    telling.tell()
    telling.tell("leak", entries=2)
    telling.tell(entries=3)
    telling.tell("leak", entries=4)
    assert telling.asked == [["leak"], ["leak"]]
    assert len(outbox.waiting()) == 2


def test_a_look_that_rests_on_less_than_another_process_saw_changes_nothing(outbox):
    telling = Telling(outbox)
    telling.tell()
    telling.tell("leak", entries=9)
    assert telling.tell(entries=8, at=NOON + MINUTE) == 0, "it would take the leak for mended"
    assert telling.tell("leak", entries=9, at=NOON + MINUTE) == 0
    assert telling.asked == [["leak"]]


@pytest.mark.parametrize("subject", ["a\nBcc: x@y.example", "a\r\nX: y", "a\x00", "x" * 201])
def test_a_subject_that_could_forge_a_header_is_refused(subject):
    with pytest.raises(MessagesError, match="no single line"):
        Message("morning/x/y", YARD, subject, "")


def test_an_address_that_could_forge_a_header_is_refused():
    with pytest.raises(MessagesError, match="no address"):
        Message("morning/x/y", Channel("mail", "a@b.example\nBcc: c@d.example"), "s", "")


def test_different_messages_never_share_a_key():
    keys = {
        Message("a", Channel("mail", "bc"), "", "").key,
        Message("ab", Channel("mail", "c"), "", "").key,
        Message("a", Channel("webhook", "bc"), "", "").key,
    }
    assert len(keys) == 3
