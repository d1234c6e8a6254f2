"""Messages by mail, against a mail server on this machine."""

import smtplib
import socket
import ssl
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from email import message_from_bytes
from email.policy import default
from ipaddress import ip_address
from pathlib import Path

import pytest
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import AuthResult
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

from qa_engine.messages import Channel, Message
from qa_engine.messages import post as post_module
from qa_engine.messages.delivery import NotDelivered
from qa_engine.messages.post import PostOffice, mail_of, post

NOON = datetime(2026, 7, 31, 12, tzinfo=UTC)
SENDER = "desk@quillmere.example"
YARD = Channel("mail", "yard@quillmere.example")
TEXT = "T07 läuft aus: 36 mg/L.\n.\nA line that begins with a dot follows.\n" + "x" * 2_000 + "\n"
MESSAGE = Message("morning/North/2026-07-31", YARD, "North: Überlauf, one tank", TEXT)


@dataclass
class Inbox:
    """A mail server's inbox; answers with what it is told to, in turn, and else takes the mail."""

    answers: list[str] = field(default_factory=list)
    recipient: str = "250 OK"
    mails: list[bytes] = field(default_factory=list)

    async def handle_RCPT(self, server, session, envelope, address, options):  # noqa: N802
        if self.recipient.startswith("250"):
            envelope.rcpt_tos.append(address)
        return self.recipient

    async def handle_DATA(self, server, session, envelope):  # noqa: N802
        if self.answers and not self.answers[0].startswith("250"):
            return self.answers.pop(0)
        self.mails.append(envelope.content)
        return "250 OK"


@contextmanager
def serving(inbox: Inbox, **how: object) -> Iterator[Controller]:
    with socket.create_server(("127.0.0.1", 0)) as found:
        free = found.getsockname()[1]
    # The controller knocks at its own door to see that it is up, so it must know the number.
    controller = Controller(inbox, hostname="127.0.0.1", port=free, **how)
    controller.start()
    try:
        yield controller
    finally:
        controller.stop()


def office(server: Controller, security: str = "none", **more: object) -> PostOffice:
    port = server.server.sockets[0].getsockname()[1]
    return PostOffice("127.0.0.1", port, security, SENDER, **more)


@pytest.fixture(autouse=True)
def _soon(monkeypatch):
    monkeypatch.setattr(post_module, "TIMEOUT_S", 0.5)


@pytest.fixture(scope="module")
def certificate(tmp_path_factory) -> Path:
    """A certificate for 127.0.0.1 that nobody but the tests trusts, with its key."""
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "tests")])
    # The library that checks the certificate knows no clock but the machine's.
    begin, end = datetime(2026, 1, 1, tzinfo=UTC), datetime(2126, 1, 1, tzinfo=UTC)
    made = (
        x509.CertificateBuilder(name, name, key.public_key(), 1, begin, end)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(
            x509.SubjectAlternativeName([x509.IPAddress(ip_address("127.0.0.1"))]), critical=False
        )
        .sign(key, hashes.SHA256())
    )
    path = tmp_path_factory.mktemp("tls") / "both.pem"
    path.write_bytes(
        key.private_bytes(
            serialization.Encoding.PEM,
            serialization.PrivateFormat.PKCS8,
            serialization.NoEncryption(),
        )
        + made.public_bytes(serialization.Encoding.PEM)
    )
    return path


@pytest.fixture
def at_server(certificate: Path) -> ssl.SSLContext:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(certificate)
    return context


@pytest.fixture
def trusting(certificate: Path) -> ssl.SSLContext:
    return ssl.create_default_context(cafile=str(certificate))


def test_a_mail_arrives_as_plain_text_with_every_letter_as_it_was():
    inbox = Inbox()
    with serving(inbox) as server:
        post(MESSAGE, office(server), NOON)
    mail = message_from_bytes(inbox.mails[0], policy=default)
    assert mail["From"] == SENDER
    assert mail["To"] == YARD.address
    assert mail["Subject"] == MESSAGE.subject
    assert mail.get_content_type() == "text/plain"
    assert mail.get_content_charset() == "utf-8"
    # On the way lines end with CRLF (RFC 5321, 2.3.8).
    assert mail.get_content().replace("\r\n", "\n") == TEXT
    assert inbox.mails[0].isascii(), "so that no server on the way can spoil it"


def test_a_second_try_bears_the_same_message_id_and_another_message_a_different_one():
    first, again = (mail_of(MESSAGE, SENDER, at) for at in (NOON, NOON + timedelta(hours=1)))
    other = mail_of(Message("morning/North/2026-08-01", YARD, "s", ""), SENDER, NOON)
    assert first["Message-ID"] == again["Message-ID"] != other["Message-ID"]
    assert first["Message-ID"].endswith("@quillmere.example>")


def test_a_grey_list_refuses_for_now_and_takes_the_next_try():
    inbox = Inbox(["451 4.7.1 come again later"])
    with serving(inbox) as server:
        with pytest.raises(NotDelivered, match="451") as refused:
            post(MESSAGE, office(server), NOON)
        assert not refused.value.for_good
        post(MESSAGE, office(server), NOON)
    assert len(inbox.mails) == 1


@pytest.mark.parametrize(
    ("inbox", "for_good"),
    [
        (Inbox(recipient="550 5.1.1 no such mailbox here"), True),
        (Inbox(recipient="452 4.2.2 mailbox full"), False),
        (Inbox(["554 5.7.1 not wanted"]), True),
    ],
)
def test_what_the_server_says_decides_whether_it_is_tried_again(inbox, for_good):
    with serving(inbox) as server, pytest.raises(NotDelivered) as refused:
        post(MESSAGE, office(server), NOON)
    assert refused.value.for_good is for_good
    assert inbox.mails == []


def test_a_server_that_is_down_is_tried_again():
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    with pytest.raises(NotDelivered, match="cannot be used") as refused:
        post(MESSAGE, PostOffice("127.0.0.1", port, "none", SENDER), NOON)
    assert not refused.value.for_good


def test_a_server_that_says_nothing_is_not_waited_for():
    with socket.create_server(("127.0.0.1", 0)) as silent:
        port = silent.getsockname()[1]
        with pytest.raises(NotDelivered, match="timed out") as refused:
            post(MESSAGE, PostOffice("127.0.0.1", port, "none", SENDER), NOON)
    assert not refused.value.for_good


def test_a_host_name_that_cannot_be_one_is_no_fault_of_the_round():
    with pytest.raises(NotDelivered, match="cannot be used"):
        post(MESSAGE, PostOffice("a..example", 25, "none", SENDER), NOON)


@pytest.mark.parametrize("security", ["starttls", "tls"])
def test_a_protected_mail_arrives(security, at_server, trusting):
    inbox = Inbox()
    how: dict[str, object] = {"ssl_context": at_server}
    if security == "starttls":
        how = {"tls_context": at_server, "require_starttls": True}
    kind: Callable[..., object] = serving
    with kind(inbox, **how) as server:
        post(MESSAGE, office(server, security, tls=trusting), NOON)
    assert len(inbox.mails) == 1


@pytest.mark.parametrize("security", ["starttls", "tls"])
def test_a_server_that_cannot_prove_who_it_is_gets_nothing(security, at_server):
    inbox = Inbox()
    key = "ssl_context" if security == "tls" else "tls_context"
    with serving(inbox, **{key: at_server}) as server, pytest.raises(NotDelivered) as refused:
        post(MESSAGE, office(server, security), NOON)
    assert "certificate" in str(refused.value)
    assert inbox.mails == []


def test_a_server_without_starttls_gets_nothing_unprotected(trusting):
    inbox = Inbox()
    with serving(inbox) as server, pytest.raises(NotDelivered, match="STARTTLS"):
        post(MESSAGE, office(server, "starttls", tls=trusting), NOON)
    assert inbox.mails == []


def test_a_password_goes_only_over_a_protected_line_and_is_shown_nowhere(at_server, trusting):
    seen = []

    def check(server, session, envelope, mechanism, data):
        seen.append(data.password)
        return AuthResult(success=data.password == b"a long secret")

    inbox = Inbox()
    how = {"tls_context": at_server, "authenticator": check, "auth_required": True}
    with serving(inbox, **how) as server:
        good = office(server, "starttls", tls=trusting, user="desk", password="a long secret")
        post(MESSAGE, good, NOON)
        bad = office(server, "starttls", tls=trusting, user="desk", password="another one")
        with pytest.raises(NotDelivered) as refused:
            post(MESSAGE, bad, NOON)
    assert len(inbox.mails) == 1
    assert set(seen) == {b"a long secret", b"another one"}
    assert not refused.value.for_good, "the password may be mended"
    assert "another one" not in f"{refused.value} {bad!r}"


def test_a_server_that_breaks_off_after_taking_the_mail_has_taken_it(monkeypatch):
    def broken(self):
        raise smtplib.SMTPServerDisconnected("gone")

    inbox = Inbox()
    monkeypatch.setattr(smtplib.SMTP, "quit", broken)
    with serving(inbox) as server:
        post(MESSAGE, office(server), NOON)
    assert len(inbox.mails) == 1
