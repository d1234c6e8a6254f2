"""Messages to programs, against a web server on this machine."""

import hmac
import json
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from hashlib import sha256
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from threading import Thread

import pytest

from qa_engine.messages import Channel, Message
from qa_engine.messages import webhook as webhook_module
from qa_engine.messages.delivery import NotDelivered
from qa_engine.messages.webhook import KEY, SIGNATURE, call, is_loopback

SECRET = "a secret of the tests"


@dataclass
class Hook:
    """A program that is called: answers with the statuses it is told to, in turn, then 204."""

    statuses: list[int] = field(default_factory=list)
    calls: list[tuple[str, dict[str, str], bytes]] = field(default_factory=list)
    port: int = 0

    def message(self, path: str = "/hook?of=fleet") -> Message:
        to = Channel("webhook", f"http://127.0.0.1:{self.port}{path}")
        return Message("stop/1", to, "Stop: van Quill, tank T1", "36 mg/L; übervoll.\n")


@contextmanager
def serving(hook: Hook) -> Iterator[Hook]:
    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            hook.calls.append((self.path, dict(self.headers), body))
            self.send_response(hook.statuses.pop(0) if hook.statuses else 204)
            self.send_header("Location", f"http://127.0.0.1:{hook.port}/elsewhere")
            self.send_header("Content-Length", "0")
            self.end_headers()

        def log_message(self, *args: object) -> None:
            """Say nothing."""

    with ThreadingHTTPServer(("127.0.0.1", 0), Handler) as server:
        hook.port = server.server_port
        thread = Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
        thread.start()
        try:
            yield hook
        finally:
            server.shutdown()
            thread.join()


@pytest.fixture(autouse=True)
def _soon(monkeypatch):
    monkeypatch.setattr(webhook_module, "TIMEOUT_S", 0.5)


def test_a_call_brings_the_message_with_its_key_and_a_signature_of_every_byte():
    with serving(Hook()) as hook:
        message = hook.message()
        call(message, SECRET)
        call(message, SECRET)
    (path, headers, body), again = hook.calls
    assert path == "/hook?of=fleet"
    told = json.loads(body)
    assert told == {
        "key": message.key,
        "identity": "stop/1",
        "kind": "stop",
        "subject": message.subject,
        "text": message.text,
    }
    wanted = hmac.new(SECRET.encode(), body, sha256).hexdigest()
    assert headers[SIGNATURE] == f"sha256={wanted}"
    assert headers[KEY] == message.key
    assert headers["Content-Type"] == "application/json"
    assert again[2] == body
    assert again[1][KEY] == message.key, "by which a receiver knows a second arrival"


@pytest.mark.parametrize(
    ("status", "for_good"),
    [(500, False), (503, False), (408, False), (429, False), (400, True), (401, True), (410, True)],
)
def test_what_passes_is_tried_again_and_what_does_not_is_given_up(status, for_good):
    with serving(Hook([status])) as hook:
        with pytest.raises(NotDelivered, match=str(status)) as refused:
            call(hook.message(), SECRET)
        assert refused.value.for_good is for_good
        call(hook.message(), SECRET)


@pytest.mark.parametrize("status", [301, 302, 303, 307, 308])
def test_no_redirect_is_followed(status):
    refusal = pytest.raises(NotDelivered, match="redirects are not followed")
    with serving(Hook([status])) as hook, refusal as refused:
        call(hook.message(), SECRET)
    assert refused.value.for_good
    assert [path for path, _, _ in hook.calls] == ["/hook?of=fleet"]


def test_what_leaves_this_machine_without_https_is_refused_before_a_name_is_looked_up(monkeypatch):
    def looked_up(*args: object, **kw: object) -> None:
        raise AssertionError("the network was asked")

    monkeypatch.setattr(socket, "getaddrinfo", looked_up)
    to = Channel("webhook", "http://hooks.quillmere.example/hook")
    with pytest.raises(NotDelivered, match="https") as refused:
        call(Message("stop/1", to, "s", ""), SECRET)
    assert refused.value.for_good


def test_an_address_that_speaks_no_tls_gets_nothing_by_https():
    with serving(Hook()) as hook:
        to = Channel("webhook", f"https://127.0.0.1:{hook.port}/hook")
        with pytest.raises(NotDelivered, match="cannot be reached"):
            call(Message("stop/1", to, "s", ""), SECRET)
    assert hook.calls == []


def test_a_program_that_is_down_or_silent_is_tried_again():
    with socket.create_server(("127.0.0.1", 0)) as silent:
        hook = Hook(port=silent.getsockname()[1])
        with pytest.raises(NotDelivered, match="timed out") as slow:
            call(hook.message(), SECRET)
    with pytest.raises(NotDelivered, match="refused") as down:
        call(hook.message(), SECRET)
    assert not slow.value.for_good
    assert not down.value.for_good


def test_a_host_name_that_cannot_be_one_is_no_fault_of_the_round():
    to = Channel("webhook", "https://a..example/hook")
    with pytest.raises(NotDelivered, match="cannot be reached"):
        call(Message("stop/1", to, "s", ""), SECRET)


def test_the_settings_of_a_proxy_in_the_environment_count_for_nothing(monkeypatch):
    monkeypatch.setenv("http_proxy", "http://127.0.0.1:9")
    with serving(Hook()) as hook:
        call(hook.message(), SECRET)
    assert len(hook.calls) == 1


@pytest.mark.parametrize(
    ("host", "ours"),
    [
        ("localhost", True),
        ("127.0.0.1", True),
        ("127.9.9.9", True),
        ("::1", True),
        ("10.0.0.1", False),
        ("localhost.quillmere.example", False),
        ("0.0.0.0", False),
        (None, False),
    ],
)
def test_only_this_machine_is_this_machine(host, ours):
    assert is_loopback(host) is ours
