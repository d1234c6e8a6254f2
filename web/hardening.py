"""What every answer carries and every form must bring, against pages that mean harm."""

import hashlib
import math
import time

from flask import Flask, current_app, g, request
from flask_wtf.csrf import CSRFProtect
from limits import RateLimitItem, parse
from limits.storage import MemoryStorage
from limits.strategies import MovingWindowRateLimiter
from werkzeug.exceptions import TooManyRequests
from werkzeug.wrappers import Response

from qa_engine.web.access import bearer, signed_in

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
    "font-src 'self'; connect-src 'self'; manifest-src 'self'; worker-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
}
HARMLESS = ("GET", "HEAD", "OPTIONS")
BRAKE = "brake"
TRIES = parse("10 per minute")
CALLS = parse("600 per minute")

forms = CSRFProtect()


def harden(app: Flask) -> None:
    """Set up an app's headers, the protection of its forms and the brake on guessing."""
    forms.init_app(app)
    # Counts per process: one process serves, see ``qa-engine serve``.
    app.extensions[BRAKE] = MovingWindowRateLimiter(MemoryStorage())
    app.before_request(_protect)
    app.after_request(_with_headers)


def brake(*what: str) -> None:
    """Answer 429 where one address tries a thing, such as signing in, too often in a minute."""
    _count(TRIES, request.remote_addr or "", *what)


def pace() -> None:
    """Answer 429 where one token, or one person without one, calls too often in a minute."""
    token = bearer()
    caller = hashlib.sha256(token.encode()).hexdigest() if token else signed_in().person
    _count(CALLS, "calls", caller)


def _count(rate: RateLimitItem, *who: str) -> None:
    limiter: MovingWindowRateLimiter = current_app.extensions[BRAKE]
    if not limiter.hit(rate, *who):
        wait = limiter.get_window_stats(rate, *who).reset_time - time.time()
        raise TooManyRequests(retry_after=max(1, math.ceil(wait)))


def _protect() -> None:
    """Refuse a form that did not come from one of our pages; programs bring a token instead."""
    if request.routing_exception is not None:
        return  # there is nothing here that could do harm
    by_token = bearer() is not None and g.get("who") is not None
    if request.method not in HARMLESS and not by_token:
        forms.protect()


def _with_headers(answer: Response) -> Response:
    for name, value in HEADERS.items():
        answer.headers.setdefault(name, value)
    if request.endpoint != "static":
        answer.headers.setdefault("Cache-Control", "no-store")
    return answer
