"""A message: what it is called, where it goes and what it says."""

from dataclasses import dataclass
from hashlib import sha256

from qa_engine.errors import MessagesError

MAIL, WEBHOOK = "mail", "webhook"
MORNING, STOP = "morning", "stop"
"""The kinds of messages, each the first word of its identities."""

LONGEST_SUBJECT = 200


@dataclass(frozen=True)
class Channel:
    """Where a message goes.

    Attributes:
        kind: ``MAIL`` or ``WEBHOOK``.
        address: the e-mail address, or the URL.
    """

    kind: str
    address: str


@dataclass(frozen=True)
class Message:
    """A message to one channel.

    Attributes:
        identity: what it tells, such as ``morning/Fernstep/2026-08-01``; the same thing has the
            same identity whoever makes the message.
        to: where it goes.
        subject: one line.
        text: what it says.

    Raises:
        MessagesError: the subject or the address is more than a line, and so could forge a header.
    """

    identity: str
    to: Channel
    subject: str
    text: str

    def __post_init__(self) -> None:
        if not self.subject.isprintable() or len(self.subject) > LONGEST_SUBJECT:
            raise MessagesError(
                f"the subject of message {self.identity!r} is no single line of at most "
                f"{LONGEST_SUBJECT} printable characters; nothing was sent"
            )
        if not self.to.address.isprintable():
            raise MessagesError(f"{self.to.address!r} is no address; nothing was sent")

    @property
    def kind(self) -> str:
        """Return what sort of message it is: the first word of its identity."""
        return self.identity.partition("/")[0]

    @property
    def key(self) -> str:
        """Return what names this message to this channel, for good: 64 hexadecimal digits."""
        parts = (self.identity, self.to.kind, self.to.address)
        # Lengths keep two different messages from running into the same text.
        told = "".join(f"{len(part)}:{part}" for part in parts)
        return sha256(told.encode()).hexdigest()
