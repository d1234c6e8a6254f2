"""Messages by e-mail: SMTP with TLS, one address at a time."""

import smtplib
import ssl
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import datetime
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime

from qa_engine.fields import shown
from qa_engine.messages.delivery import NotDelivered
from qa_engine.messages.message import Message

TIMEOUT_S = 20.0
PERMANENT = 500
"""From this reply on, an SMTP server says that trying again will not help (RFC 5321, 4.2.1)."""

LONGEST_REPLY = 200


@dataclass(frozen=True)
class PostOffice:
    """The SMTP server that takes our mail.

    Attributes:
        host, port: where it listens.
        security: ``starttls``, ``tls`` from the first byte, or ``none`` (this machine only).
        sender: the address that mail comes from.
        user: who signs in; None where nobody does.
        password: of the user; shown nowhere.
        tls: what certificates are trusted; None for those of the system.
    """

    host: str
    port: int
    security: str
    sender: str
    user: str | None = None
    password: str | None = field(default=None, repr=False)
    tls: ssl.SSLContext | None = field(default=None, repr=False)


def mail_of(message: Message, sender: str, now: datetime) -> EmailMessage:
    """Return a message as e-mail; its Message-ID is the same however often it is sent."""
    mail = EmailMessage(policy=SMTP)
    mail["From"] = sender
    mail["To"] = message.to.address
    mail["Subject"] = message.subject
    mail["Date"] = format_datetime(now)
    mail["Message-ID"] = f"<{message.key}@{sender.rpartition('@')[2]}>"
    mail["Auto-Submitted"] = "auto-generated"  # RFC 3834: answering machines stay silent
    # Servers that know no 8BITMIME take it as well.
    mail.set_content(message.text, cte="quoted-printable")
    return mail


def post(message: Message, office: PostOffice, now: datetime) -> None:
    """Hand a message to the mail server.

    Raises:
        NotDelivered: it was not taken.
    """
    mail = mail_of(message, office.sender, now)
    try:
        with _connected(office) as server:
            server.send_message(mail, office.sender, [message.to.address])
    except smtplib.SMTPRecipientsRefused as error:
        code, said = error.recipients[message.to.address]
        raise _refused(code, said) from None
    except (smtplib.SMTPSenderRefused, smtplib.SMTPDataError) as error:
        raise _refused(error.smtp_code, error.smtp_error) from None
    except (smtplib.SMTPException, OSError, UnicodeError) as error:
        # The server is at fault, not the message: it will be tried again.
        where = f"the mail server {office.host}:{office.port}"
        raise NotDelivered(f"{where} cannot be used: {shown(error, LONGEST_REPLY)}") from None


@contextmanager
def _connected(office: PostOffice) -> Iterator[smtplib.SMTP]:
    """Give a connection that is encrypted as asked and signed in; never a lesser one."""
    tls = office.tls or ssl.create_default_context()
    server: smtplib.SMTP
    if office.security == "tls":
        server = smtplib.SMTP_SSL(office.host, office.port, timeout=TIMEOUT_S, context=tls)
    else:
        server = smtplib.SMTP(office.host, office.port, timeout=TIMEOUT_S)
    try:
        if office.security == "starttls":
            server.starttls(context=tls)
        if office.user is not None:
            server.login(office.user, office.password or "")
        yield server
        # The message is taken; what goes wrong while parting does not undo that.
        with suppress(smtplib.SMTPException, OSError):
            server.quit()
    finally:
        server.close()


def _refused(code: int, said: bytes | str) -> NotDelivered:
    text = said.decode("utf-8", "replace") if isinstance(said, bytes) else said
    reason = f"the mail server answered {code}: {shown(text, LONGEST_REPLY)}"
    return NotDelivered(reason, for_good=code >= PERMANENT)
