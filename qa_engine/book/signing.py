"""Signed tree heads: what an auditor keeps, so that nobody can rewrite a record book unseen.

A signed head is a small JSON text: which book, how many entries, the root of the Merkle tree over
them, when it was signed, by which key, and the signature. The signature is Ed25519 (RFC 8032) over
the canonical JSON (RFC 8785) of all other members. Whoever keeps the text, away from the book, can
later have the book checked against it: `qa_engine.book.verify`.

The private key lies beside the book, never in it. Whoever holds the key can sign a forged book, so
what protects the past is the kept head, not the key.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from qa_engine.book.canonical_json import canonical_json
from qa_engine.errors import BookError
from qa_engine.fields import FIRST_YEAR, LAST_YEAR

FORM = "signed tree head 1"
MEMBERS = {"form", "book", "size", "root", "time", "key", "signature"}
LONGEST_HEAD = 100_000
"""No head is longer: 64 steps of a proof take 4,352 characters."""


@dataclass(frozen=True)
class SignedHead:
    """A tree head and who signed it.

    Attributes:
        book: the book's id.
        size: how many entries it had.
        root: the root of the tree over them.
        time: when it was signed, in UTC.
        key: the public key.
        signature: the signature over everything else.
        since: how many entries the earlier head had that ``proof`` starts from.
        proof: the consistency proof from that head to this one.
    """

    book: str
    size: int
    root: bytes
    time: datetime
    key: bytes
    signature: bytes = b""
    since: int | None = None
    proof: tuple[bytes, ...] = ()

    @property
    def signed(self) -> bytes:
        """What the signature covers."""
        return canonical_json(_members(self)).encode()

    @property
    def text(self) -> str:
        """The head as an auditor keeps it."""
        return json.dumps(_members(self) | {"signature": self.signature.hex()}, indent=1) + "\n"

    @property
    def is_genuine(self) -> bool:
        """Whether the signature is that of the key over this head."""
        return is_signature(self.key, self.signature, self.signed)


def _members(head: SignedHead) -> dict[str, Any]:
    members: dict[str, Any] = {
        "form": FORM,
        "book": head.book,
        "size": head.size,
        "root": head.root.hex(),
        "time": head.time.astimezone(UTC).isoformat(timespec="microseconds")[:-6] + "Z",
        "key": head.key.hex(),
    }
    if head.since is None:
        return members
    return members | {"since": head.since, "proof": [step.hex() for step in head.proof]}


def sign(head: SignedHead, key: Ed25519PrivateKey) -> SignedHead:
    """Return a head with the key's signature."""
    head = replace(head, key=public_bytes(key))
    return replace(head, signature=key.sign(head.signed))


def is_signature(key: bytes, signature: bytes, message: bytes) -> bool:
    """Return whether a signature is that of a public key over a message."""
    try:
        Ed25519PublicKey.from_public_bytes(key).verify(signature, message)
    except (InvalidSignature, ValueError):
        return False
    return True


def public_bytes(key: Ed25519PrivateKey) -> bytes:
    """Return the 32 bytes of the public key."""
    return key.public_key().public_bytes_raw()


def read_head(text: str, name: str = "the head") -> SignedHead:
    """Read a head as an auditor kept it; whether it is genuine is another question.

    Args:
        text: the JSON text.
        name: what to call it in errors, such as the file's name.

    Raises:
        BookError: it is none.
    """
    if len(text) > LONGEST_HEAD:
        raise BookError(f"{name}: {len(text)} characters are no signed tree head")
    try:
        written = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise BookError(f"{name}: is no JSON, so no signed tree head: {error}") from None
    if not isinstance(written, dict) or written.get("form") != FORM:
        raise BookError(f'{name}: is no signed tree head; expected "form": "{FORM}"')
    wrong = MEMBERS - set(written) | set(written) - MEMBERS - {"since", "proof"}
    if wrong:
        raise BookError(f"{name}: {sorted(wrong)[0]} is missing or does not belong there")
    return _of_members(written, name)


def _of_members(written: Mapping[str, Any], name: str) -> SignedHead:
    try:
        head = SignedHead(
            book=str(written["book"]),
            size=_count(written["size"]),
            root=_exactly(written["root"], 32),
            time=datetime.fromisoformat(written["time"]),
            key=_exactly(written["key"], 32),
            signature=_exactly(written["signature"], 64),
            since=_count(written["since"]) if "since" in written else None,
            proof=_steps(written.get("proof", ())),
        )
    except (ValueError, TypeError) as error:
        raise BookError(f"{name}: is no signed tree head: {error}") from None
    if head.time.tzinfo is None:
        raise BookError(f"{name}: its time {written['time']} has no offset")
    if not FIRST_YEAR <= head.time.year <= LAST_YEAR:
        raise BookError(f"{name}: its time {written['time']} is no likely one")
    return head


def _count(written: object) -> int:
    if not isinstance(written, int) or isinstance(written, bool) or written < 0:
        raise ValueError(f"{written!r} is not a number of entries")
    return written


def _exactly(written: str, count: int) -> bytes:
    found = bytes.fromhex(written)
    if len(found) != count:
        raise ValueError(f"expected {count} bytes in hexadecimal, found {len(found)}")
    return found


def _steps(written: Sequence[str]) -> tuple[bytes, ...]:
    return tuple(_exactly(step, 32) for step in written)
