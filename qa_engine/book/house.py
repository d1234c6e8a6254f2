"""What a house has settled in its record book: the rules it adopted, the permissions it gave."""

from datetime import datetime
from typing import Any

from qa_engine.book.permission_body import permission_of
from qa_engine.book.store import Book
from qa_engine.permissions import Permission


def permissions_in(book: Book, known_at: datetime | None = None) -> tuple[Permission, ...]:
    """Return the permissions that a book has, in the order of their entries.

    Args:
        book: the record book.
        known_at: what it knew at this instant; by default, all that it knows.
    """
    found = book.bodies("permission", known_at)
    return tuple(permission_of(id_, body) for id_, body in found.items())


def rules_in(book: Book, known_at: datetime | None = None) -> list[tuple[str, bytes]]:
    """Return name and content of each rule file adopted in a book; none if none was.

    Args:
        book: the record book.
        known_at: what it knew at this instant; by default, all that it knows.
    """
    found = book.bodies("rule_set", known_at)
    return [(adopted_name(id_), text_of(body).encode()) for id_, body in found.items()]


def adopted_name(id_: str) -> str:
    """Return how problems name an edition that was adopted as ``set/edition``."""
    return f"adopted/{id_}.yaml"


def text_of(body: dict[str, Any]) -> str:
    """Return the rule file that an entry holds."""
    return str(body["text"])
