"""Passwords: kept as argon2 hashes, a few at a time because each one takes memory."""

from functools import cache
from threading import Semaphore

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

LEAST_LENGTH = 10
AT_ONCE = Semaphore(2)
"""A hash takes 64 MiB: many sign-ins at once must not take the machine's memory."""


def hashed(password: str) -> str:
    """Return what is kept of a password."""
    with AT_ONCE:
        return _hasher().hash(password)


def matches(kept: str | None, password: str) -> bool:
    """Tell whether a password is the one that was kept; of an unknown name, just as slowly."""
    with AT_ONCE:
        try:
            return _hasher().verify(kept or _nobody(), password) and kept is not None
        except (VerificationError, InvalidHashError):
            return False


@cache
def _hasher() -> PasswordHasher:
    return PasswordHasher()


@cache
def _nobody() -> str:
    return _hasher().hash("nobody has this password")
