"""Entries that are no records, made ready to be written."""

from collections.abc import Mapping
from typing import Any

from sqlalchemy import Connection

from qa_engine.book.canonical import Submission, digest_of
from qa_engine.book.canonical_json import canonical_json
from qa_engine.book.reading import standing_entry
from qa_engine.book.schema import BODY_KINDS
from qa_engine.book.writing import Bodies
from qa_engine.errors import BookError


def bodies_to_put(
    connection: Connection, kind: str, bodies: Mapping[str, Mapping[str, Any]], by: Submission
) -> list[Bodies]:
    """Return entries of a kind ready to be written; what stands word for word is left out.

    Raises:
        BookError: there is no such kind of entry, or a body holds what JSON cannot say.
    """
    if kind not in BODY_KINDS:
        raise BookError(f"there is no kind of entry '{kind}'; known are {', '.join(BODY_KINDS)}")
    found = [_one(connection, kind, id_, body, by) for id_, body in bodies.items()]
    return [one for one in found if one is not None]


def _one(
    connection: Connection, kind: str, id_: str, body: Mapping[str, Any], by: Submission
) -> Bodies | None:
    text = canonical_json(body)
    standing = standing_entry(connection, kind, id_)
    if standing is not None and standing[1] == text:
        return None
    supersedes = standing[0] if standing else None
    reason = by.reason if standing else None
    digest = digest_of(kind, id_, body, by, supersedes=supersedes, reason=reason)
    return Bodies(kind, [id_], [text], [digest], [supersedes], reason)
