"""Messages to a program: a signed POST of JSON, over https, redirects not followed."""

import hmac
import json
import ssl
from hashlib import sha256
from http.client import HTTPConnection, HTTPException, HTTPSConnection
from ipaddress import ip_address
from urllib.parse import SplitResult, urlsplit

from qa_engine.fields import shown
from qa_engine.messages.delivery import NotDelivered
from qa_engine.messages.message import Message

TIMEOUT_S = 20.0
SIGNATURE = "QA-Engine-Signature"
KEY = "Idempotency-Key"
PASSING = frozenset({408, 425, 429})
"""Refusals (4xx) that ask to come again later; others do not pass."""

LONGEST_REASON = 200


def is_loopback(host: str | None) -> bool:
    """Tell whether a host is this machine."""
    if host == "localhost":
        return True
    try:
        return ip_address(host or "").is_loopback
    except ValueError:
        return False


def body_of(message: Message) -> bytes:
    """Return what is posted; the same bytes however often it is."""
    told = {
        "key": message.key,
        "identity": message.identity,
        "kind": message.kind,
        "subject": message.subject,
        "text": message.text,
    }
    return json.dumps(told, ensure_ascii=False, sort_keys=True).encode()


def signature_of(body: bytes, secret: str) -> str:
    """Return the signature of a body: ``sha256=`` and its HMAC (RFC 2104) in hexadecimal."""
    return f"sha256={hmac.new(secret.encode(), body, sha256).hexdigest()}"


def call(message: Message, secret: str, tls: ssl.SSLContext | None = None) -> None:
    """Post a message to its address.

    Args:
        message: the message; the address is its channel's.
        secret: what it is signed with.
        tls: what certificates are trusted; None for those of the system.

    Raises:
        NotDelivered: it was not taken.
    """
    address = urlsplit(message.to.address)
    body = body_of(message)
    headers = {
        "Content-Type": "application/json",
        KEY: message.key,
        SIGNATURE: signature_of(body, secret),
    }
    target = (address.path or "/") + (f"?{address.query}" if address.query else "")
    connection = _connection(address, tls)
    try:
        connection.request("POST", target, body, headers)
        status = connection.getresponse().status
    except (HTTPException, OSError, UnicodeError) as error:
        reason = f"{address.hostname} cannot be reached: {shown(error, LONGEST_REASON)}"
        raise NotDelivered(reason) from None
    finally:
        connection.close()
    _judge(status, address)


def _connection(address: SplitResult, tls: ssl.SSLContext | None) -> HTTPConnection:
    host = address.hostname or ""
    if address.scheme == "https":
        tls = tls or ssl.create_default_context()
        return HTTPSConnection(host, address.port, timeout=TIMEOUT_S, context=tls)
    if not is_loopback(host):
        raise NotDelivered(f"{host} is not reached by https; nothing was sent", for_good=True)
    return HTTPConnection(host, address.port, timeout=TIMEOUT_S)


def _judge(status: int, address: SplitResult) -> None:
    if 200 <= status < 300:
        return
    if 300 <= status < 400:
        reason = f"{address.hostname} answered {status}: redirects are not followed"
        raise NotDelivered(f"{reason}; write the new address into the settings", for_good=True)
    for_good = 400 <= status < 500 and status not in PASSING
    raise NotDelivered(f"{address.hostname} answered {status}", for_good=for_good)
