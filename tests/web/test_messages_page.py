"""The page of messages: for administrators, with reasons, and what was given up goes out again."""

from datetime import timedelta

import pytest

from qa_engine.demo import AS_OF
from qa_engine.messages import Channel, Message
from qa_engine.messages.delivery import NotDelivered
from qa_engine.web.office import EXTENSION

SCRIPT = "<script>alert(1)</script>"
MAIL = Channel("mail", "yard@quillmere.example")
HOOK = Channel("webhook", "https://hooks.quillmere.example/stop?token=hush")


def outbox(site):
    return site.app.extensions[EXTENSION].outbox


def put(site, identity="stop/1", to=MAIL, subject="Stop: tank T1", text="Do not rinse.\n"):
    message = Message(identity, to, subject, text)
    assert outbox(site).put([message], AS_OF) == 1
    return message


def give_up(site, message):
    claimed = outbox(site).claim("a test", AS_OF)
    assert claimed.message == message
    why = NotDelivered(f"answered 550: {SCRIPT}", for_good=True)
    assert outbox(site).failed(claimed, "a test", why, AS_OF)


def page(site):
    return site.visitor("administrator").get("/messages").text


@pytest.mark.parametrize("role", ["crew", "operator", "auditor"])
def test_only_administrators_see_the_messages(small_site, role):
    assert small_site.visitor(role).get("/messages").status_code == 403
    assert 'href="/messages"' not in small_site.visitor(role).get("/people/me").text


def test_before_the_first_message_the_page_says_how_messages_come_to_be_sent(small_site):
    told = page(small_site)
    assert "No message was sent yet." in told
    assert "qa-engine serve BOOK --messages FILE" in told


def test_what_waits_was_sent_and_was_given_up_is_told_with_the_reason(small_site):
    give_up(small_site, put(small_site))
    put(small_site, "stop/2", subject="Stop: tank T2")
    claimed = outbox(small_site).claim("a test", AS_OF)
    outbox(small_site).sent(claimed.message.key, AS_OF)
    put(small_site, "stop/3", subject="Stop: tank T3")
    told = page(small_site)
    assert "1 message was given up." in told
    assert "1 message waits." in told
    given_up, waiting, sent = (
        told.index(f">{name}</h2>") for name in ("Given up", "Waiting", "Sent")
    )
    assert given_up < told.index("Stop: tank T1") < waiting
    assert waiting < told.index("Stop: tank T3") < sent < told.index("Stop: tank T2")
    assert "answered 550" in told


def test_what_others_wrote_runs_nowhere_on_the_page(small_site):
    give_up(small_site, put(small_site, subject=SCRIPT, text=SCRIPT))
    told = page(small_site)
    assert SCRIPT not in told
    assert told.count("&lt;script&gt;") >= 3  # subject, text and reason


def test_what_stands_after_a_question_mark_may_be_secret_and_is_not_shown(small_site):
    put(small_site, to=HOOK)
    told = page(small_site)
    assert "https://hooks.quillmere.example/stop" in told
    assert "hush" not in told


def test_a_message_that_was_given_up_waits_again_when_asked_for(small_site):
    message = put(small_site)
    give_up(small_site, message)
    answer = small_site.visitor("administrator").submit(
        "/messages", f"/messages/{message.key}/again"
    )
    assert answer.status_code == 303
    [waiting] = outbox(small_site).waiting()
    assert waiting.message == message
    assert waiting.attempts == 0
    assert outbox(small_site).given_up() == []


def test_a_message_that_was_not_given_up_is_not_sent_again(small_site):
    message = put(small_site)
    visitor = small_site.visitor("administrator")
    again = f"/messages/{message.key}/again"
    assert visitor.submit("/people/me", again).status_code == 404
    assert visitor.submit("/people/me", "/messages/nothing/again").status_code == 404


def test_sending_again_needs_the_token_of_a_form_and_an_administrator(small_site):
    message = put(small_site)
    give_up(small_site, message)
    again = f"/messages/{message.key}/again"
    assert small_site.visitor("administrator").client.post(again).status_code == 400
    assert small_site.visitor("operator").submit("/people/me", again).status_code == 403
    assert len(outbox(small_site).given_up()) == 1


def test_the_page_warns_when_whoever_sends_messages_has_stopped(small_site):
    outbox(small_site).end_round(AS_OF)
    small_site.clock.now = AS_OF + timedelta(minutes=14)
    assert 'role="alert"' not in page(small_site)
    small_site.clock.now = AS_OF + timedelta(minutes=16)
    assert "seems to have stopped" in page(small_site)
