"""Problem details (RFC 9457): what every refusal of a call tells."""

from marshmallow import fields

from qa_engine.web.api.answers import Answer
from qa_engine.web.faults import PROBLEM

SORTS = {
    "records-refused": "Some records cannot be taken as written; none was added. Mend the rows "
    "that 'problems' names and send all of them again, with the same key.",
    "records-differ": "The book has some of these records otherwise; none was added. What is in "
    "the book is changed by a correction, not by sending it again.",
    "key-used": "This key came in before with other records. A key stands for one submission.",
    "question-refused": "A part of the address after '?' is not as described.",
}
"""Sorts of problem that a program may want to tell apart; the others are ``about:blank``."""


def address_of(sort: str) -> str:
    """Return the address that names a sort of problem and leads to what it means."""
    return f"/api/v1/#{sort}"


class Piece(Answer):
    """One thing that is wrong."""

    row = fields.Integer(
        allow_none=True,
        metadata={"description": "The row as sent, from 1; null where it is no row."},
    )
    record = fields.String(allow_none=True, metadata={"description": "The id of the record."})
    field = fields.String(allow_none=True, metadata={"description": "The field or parameter."})
    written = fields.String(allow_none=True, metadata={"description": "What was written there."})
    expected = fields.String(metadata={"description": "What is wrong, and what would do."})


class Problem(Answer):
    """Why a call was refused (RFC 9457)."""

    type = fields.String(
        metadata={"format": "uri-reference", "description": "The sort of problem."}
    )
    title = fields.String(metadata={"description": "What the status means."})
    status = fields.Integer(metadata={"description": "The status of the answer."})
    detail = fields.String(metadata={"description": "What is wrong, and what would do."})
    instance = fields.String(
        metadata={"format": "uri-reference", "description": "The path that was called."}
    )
    problems = fields.List(
        fields.Nested(Piece), metadata={"description": "Everything that is wrong, one by one."}
    )


__all__ = ["PROBLEM", "SORTS", "Piece", "Problem", "address_of"]
