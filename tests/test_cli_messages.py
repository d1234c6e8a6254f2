"""``messages show`` and ``send``, ``serve --messages``: who is told what, and that it ends well."""

import json
import os
import socket
import threading
from datetime import UTC, datetime
from email import message_from_bytes
from email.policy import default
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from threading import Barrier, Event

import pytest
import waitress
from aiosmtpd.controller import Controller
from click.testing import CliRunner

from qa_engine.book import create_book, open_book
from qa_engine.cli import messages
from qa_engine.cli.message_rounds import sending
from qa_engine.cli.program import program
from qa_engine.cli.serve import serve
from qa_engine.errors import BookError
from qa_engine.intake import read_records, read_register
from qa_engine.messages import Outbox, Tally, read_settings

NOON = datetime(2026, 7, 6, 12, tzinfo=UTC)
REGISTER = """
operator: {name: Quillmere, time_zone: Europe/London}
vans: [{van: V1, base: north}, {van: V2, base: south}]
tanks:
  - {tank: T1, van: V1, vessel_volume: 20 L}
  - {tank: T2, van: V1, vessel_volume: 20 L}
"""
DAYS = """record,kind,at,van,tank,outlet_tds,sampled,change,grade,resin_volume
C1,resin_change,2026-07-01T07:00:00Z,V1,T1,,,replaced with new,mixed_bed,14
R1,reading,2026-07-05T08:00:00Z,V1,T1,45,flowing,,,
"""
LATE = """record,kind,at,van,tank,outlet_tds,sampled,change,grade,resin_volume
C2,resin_change,2026-07-05T09:00:00Z,V1,T2,,,replaced with new,mixed_bed,14
R2,reading,2026-07-06T09:00:00Z,V1,T2,52,flowing,,,
"""
MAIL = """
morning: "06:00"
mail: {{server: 127.0.0.1, port: {port}, security: none, sender: desk@quillmere.example}}
bases:
  north: {{mail: [yard@quillmere.example]}}
"""
SETTINGS = """
morning: "06:00"
webhooks: {{secret_variable: QUILLMERE_HOOK}}
bases:
  north: {{webhooks: ["{url}"]}}
"""


class Taking(BaseHTTPRequestHandler):
    """Takes every POST and notes its body."""

    def do_POST(self):
        body = self.rfile.read(int(self.headers["Content-Length"]))
        self.server.reached.set()
        self.server.hold.wait(20)
        self.server.taken.append(body)
        self.send_response(self.server.status)
        self.end_headers()

    def log_message(self, *_):
        pass


class Inbox:
    """Keeps the mail that a server took."""

    def __init__(self):
        self.got = []

    async def handle_DATA(self, server, session, envelope):  # noqa: N802 - as aiosmtpd names it
        mail = message_from_bytes(envelope.content, policy=default)
        self.got.append((envelope.rcpt_tos, mail))
        return "250 taken"


def free_port():
    """Return a port of this machine that nobody listens at."""
    with socket.create_server(("127.0.0.1", 0)) as found:
        return found.getsockname()[1]


@pytest.fixture
def program_told():
    """Return a server on this machine that takes messages, or refuses them by its ``status``."""
    server = ThreadingHTTPServer(("127.0.0.1", 0), Taking)
    server.taken, server.status = [], 200
    server.reached, server.hold = Event(), Event()
    server.hold.set()
    server.url = f"http://127.0.0.1:{server.server_port}/told"
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
    thread.start()
    yield server
    server.shutdown()
    thread.join()
    server.server_close()


@pytest.fixture
def house(tmp_path, monkeypatch, program_told):
    """Return a book with a tank that reads 45 mg/L, and settings that tell its base."""
    monkeypatch.setattr(messages, "now", lambda: NOON)
    monkeypatch.setenv("QUILLMERE_HOOK", "a secret of the tests")
    (tmp_path / "register.yaml").write_text(REGISTER, encoding="utf-8")
    (tmp_path / "days.csv").write_text(DAYS, encoding="utf-8")
    (tmp_path / "told.yaml").write_text(SETTINGS.format(url=program_told.url), encoding="utf-8")
    entered = {"entered_at": NOON, "entered_by": "P-00"}
    register = read_register(tmp_path / "register.yaml")
    with create_book(
        tmp_path / "fleet.book", operator="Quillmere", time_zone="Europe/London", **entered
    ) as book:
        book.put_register(register, key="register", **entered)
        frames = read_records([tmp_path / "days.csv"], time_zone=None).frames
        book.add(frames, key="records", source="days.csv", **entered)
    return tmp_path


def call(house, *arguments):
    words = [*arguments, str(house / "fleet.book"), "--messages", str(house / "told.yaml")]
    return CliRunner().invoke(program, words)


def queued(house):
    with open_book(house / "fleet.book") as book:
        box = Outbox(book)
        return [*box.waiting(), *box.given_up(), *box.were_sent()]


def test_show_prints_the_morning_messages_and_sends_nothing(house, program_told):
    result = call(house, "messages", "show")
    assert result.exit_code == 0, result.output
    assert f"To: {program_told.url}" in result.stdout
    assert "MUST NOT RINSE" in result.stdout
    assert "45 mg/L" in result.stdout
    assert program_told.taken == []
    assert queued(house) == []


def test_show_asks_for_no_secret(house, monkeypatch):
    monkeypatch.delenv("QUILLMERE_HOOK")
    assert call(house, "messages", "show").exit_code == 0


def test_bases_that_nobody_is_told_of_are_named(house):
    assert "nobody is told of base 'south'" in call(house, "messages", "show").stderr


def test_send_delivers_what_is_due_once(house, program_told):
    first = call(house, "messages", "send")
    assert first.exit_code == 0, first.output
    assert "1 sent" in first.stderr
    assert "0 sent" in call(house, "messages", "send").stderr
    assert len(program_told.taken) == 1


def test_send_says_by_its_exit_status_that_something_was_not_taken(house, program_told):
    program_told.status = 503
    result = call(house, "messages", "send")
    assert result.exit_code == 1
    assert "1 to be tried again" in result.stderr
    [waiting] = queued(house)
    assert "503" in waiting.reason


def test_send_without_the_secret_sends_nothing_and_says_where_it_belongs(house, monkeypatch):
    monkeypatch.delenv("QUILLMERE_HOOK")
    result = call(house, "messages", "send")
    assert result.exit_code == 2
    assert "QUILLMERE_HOOK" in result.stderr
    assert queued(house) == []


def test_a_settings_file_that_is_wrong_is_told_with_its_line(house):
    (house / "told.yaml").write_text('morning: "06:00"\nbasis: {}\n', encoding="utf-8")
    result = call(house, "messages", "show")
    assert result.exit_code == 2
    assert "told.yaml:2:1" in result.stderr


def test_a_tank_that_newly_must_stop_is_told_once_and_what_stood_before_is_not(house, program_told):
    call(house, "messages", "send")  # the first round: T1 stands already
    late = house / "late.csv"
    late.write_text(LATE, encoding="utf-8")
    with open_book(house / "fleet.book") as book:
        frames = read_records([late], time_zone=None).frames
        book.add(frames, key="late", source="late.csv", entered_at=NOON, entered_by="P-00")
    assert call(house, "messages", "send").exit_code == 0
    assert call(house, "messages", "send").exit_code == 0
    told = [json.loads(body) for body in program_told.taken]
    assert [one["kind"] for one in told] == ["morning", "stop"]
    assert "T2" in told[1]["subject"]
    assert "52 mg/L" in told[1]["text"]


def test_of_two_that_send_at_once_exactly_one_message_arrives(house, program_told):
    settings = read_settings(house / "told.yaml", os.environ)
    begin, done = Barrier(2), []

    def send():
        with open_book(house / "fleet.book") as book:
            rounds = messages.rounds_of(book, settings, messages.lookout_of(book), lambda: NOON)
            begin.wait(10)
            done.append(rounds.round().sent)

    threads = [threading.Thread(target=send) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert sorted(done) == [0, 1]
    assert len(program_told.taken) == 1


def test_a_save_waits_for_no_message_that_is_under_way(house, program_told):
    program_told.hold = Event()
    with open_book(house / "fleet.book") as book:
        settings = read_settings(house / "told.yaml", os.environ)
        rounds = messages.rounds_of(book, settings, messages.lookout_of(book), lambda: NOON)
        thread = threading.Thread(target=rounds.round)
        thread.start()
        assert program_told.reached.wait(20)
        frames = read_records([house / "days.csv"], time_zone=None).frames
        book.add(frames, key="meanwhile", source="x", entered_at=NOON, entered_by="P-00")
        assert program_told.taken == []  # the message is still being handed over
        program_told.hold.set()
        thread.join(20)
    assert len(program_told.taken) == 1


def test_mail_goes_out_by_the_server_that_the_settings_name(house):
    inbox = Inbox()
    server = Controller(inbox, hostname="127.0.0.1", port=free_port())
    server.start()
    try:
        written = MAIL.format(port=server.port)
        (house / "told.yaml").write_text(written, encoding="utf-8")
        assert call(house, "messages", "send").exit_code == 0
        assert call(house, "messages", "send").exit_code == 0
    finally:
        server.stop()
    [(to, mail)] = inbox.got
    assert to == ["yard@quillmere.example"]
    assert mail["Subject"].strip().startswith("north, 6 July: two tanks must not rinse")
    assert "MUST NOT RINSE" in mail.get_content()


def test_serving_with_settings_sends_until_the_pages_stop(house, program_told, monkeypatch):
    def served(*_, **__):
        for _ in range(500):
            if program_told.taken:
                return
            Event().wait(0.01)

    monkeypatch.setattr(waitress, "serve", served)
    with open_book(house / "fleet.book") as book:
        settings = read_settings(house / "told.yaml", os.environ)
        serve(book, bytes(32), "127.0.0.1", 0, now=lambda: NOON, messages=settings)
    assert program_told.taken
    assert "messages" not in {thread.name for thread in threading.enumerate()}


def test_serving_without_settings_tells_nobody(house, program_told, monkeypatch):
    monkeypatch.setattr(waitress, "serve", lambda *_, **__: None)
    result = CliRunner().invoke(program, ["serve", str(house / "fleet.book")])
    assert result.exit_code == 0, result.output
    assert program_told.taken == []


class Failing:
    """Rounds of which the first ones fail."""

    def __init__(self, *faults):
        self.faults = [*faults]
        self.done = Event()

    def round(self, stop):
        if self.faults:
            raise self.faults.pop(0)
        self.done.set()
        return Tally()


@pytest.mark.parametrize(
    "fault", [BookError("the book is busy"), OSError("no disk"), KeyError("x")]
)
def test_a_round_that_fails_is_told_and_the_next_one_is_done(fault, capfd):
    rounds = Failing(fault)
    with sending(rounds, every_s=0.001) as thread:
        assert rounds.done.wait(5)
    assert not thread.is_alive()
    assert "this round failed" in capfd.readouterr().err


def test_the_thread_stops_at_once_though_the_next_round_is_far_off():
    rounds = Failing()
    with sending(rounds, every_s=3600.0) as thread:
        assert rounds.done.wait(5)
    assert not thread.is_alive()
