"""What auditors enter in a book: remarks, and which tree head they keep.

An audit entry is an entry of its own, never a change of what operators and crews recorded. None
takes the place of another one: who thinks otherwise later says so in a new one.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from marshmallow import RAISE, Schema, ValidationError, fields, validates_schema
from marshmallow.validate import Range
from sqlalchemy import Connection, select

from qa_engine.book import Book, Submission
from qa_engine.book.replacing import free_id, id_made_by, put_together, standing_in
from qa_engine.book.schema import tree_heads
from qa_engine.errors import AuditError
from qa_engine.fields import Day, Text, Word

KIND = "audit"
PREFIX = "AU"
FINDING, RULE, PERIOD, HEAD_KEPT = "finding", "rule", "period", "head kept"
SORTS = (FINDING, RULE, PERIOD, HEAD_KEPT)

LABELS = {
    "sort": "what it is about",
    "about": "which one",
    "text": "the remark",
    "first": "the first day",
    "last": "the last day",
    "size": "the size of the head",
    "root": "the root of the head",
}
"""How messages call a field."""

NEEDED = {
    FINDING: ("about", "text"),
    RULE: ("about", "text"),
    PERIOD: ("first", "last", "text"),
    HEAD_KEPT: ("size", "root"),
}
"""The fields of each sort of entry; a head that is kept may have a text, such as where."""


class AuditForm(Schema):
    """An audit entry: all of it."""

    class Meta:
        unknown = RAISE

    sort = Word(*SORTS, required=True)
    about = Text()
    text = Text()
    first = Day()
    last = Day()
    size = fields.Integer(strict=True, validate=Range(min=1))
    root = Text()

    @validates_schema(skip_on_field_errors=True)
    def _whole(self, data: Mapping[str, Any], **_: Any) -> None:
        needed = NEEDED[data["sort"]]
        wrong = {n: ["missing"] for n in needed if not _given(data.get(n))}
        allowed = {"sort", "text", *needed}
        wrong |= {n: [f"does not go with '{data['sort']}'"] for n in set(data) - allowed}
        if data["sort"] == RULE and "about" not in wrong and "/" not in data["about"]:
            wrong["about"] = [f"'{data['about']}' is no rule; expected SET/RULE"]
        if not wrong and data["sort"] == PERIOD and data["last"] < data["first"]:
            wrong["last"] = [f"{data['last']} is before the first one, {data['first']}"]
        if wrong:
            raise ValidationError(wrong)


@dataclass(frozen=True)
class Remark:
    """An audit entry as it stands in the book.

    Attributes:
        id: what it is called.
        entry: its number.
        by: the id of the person who entered it.
        at: when it came in.
        sort: one of ``SORTS``.
        about: the identity of a finding, or ``set/rule``.
        text: what it says.
        first, last: the days of a period.
        size, root: the head that somebody keeps.
    """

    id: str
    entry: int
    by: str
    at: datetime
    sort: str
    about: str | None = None
    text: str | None = None
    first: date | None = None
    last: date | None = None
    size: int | None = None
    root: str | None = None

    @property
    def concerns(self) -> str:
        """Say what it is about, in words."""
        if self.sort == PERIOD:
            return f"{self.first} to {self.last}"
        if self.sort == HEAD_KEPT:
            return f"keeps the head of {self.size:,} entries"
        return f"{self.sort} {self.about}"


def remarks_in(book: Book, known_at: datetime | None = None) -> tuple[Remark, ...]:
    """Return the audit entries of a book, in their order.

    Args:
        book: the record book.
        known_at: what it knew at this instant; by default, all that it knows.
    """
    return tuple(
        Remark(one.id, one.entry, one.by, one.at, **_loaded(one.body))
        for one in standing_in(book, KIND, known_at)
    )


def enter_remark(book: Book, body: Mapping[str, Any], submission: Submission) -> str:
    """Enter an audit entry; return its id.

    Args:
        book: the record book.
        body: its fields as ``AuditForm`` has them; empty ones are left out.
        submission: how it comes in; the same key again adds nothing.

    Raises:
        AuditError: a field is missing or wrong, or the head is none of this book.
    """
    given = {name: value for name, value in body.items() if _given(value)}
    _loaded(given)
    with book.writing() as held:
        if (made := id_made_by(held, submission.key, KIND)) is not None:
            return made
        if given["sort"] == HEAD_KEPT:
            _check_head(held, given["size"], given["root"])
        made = free_id(held, PREFIX, [KIND])
        put_together(held, {KIND: {made: given}}, submission)
    return made


def _given(value: object) -> bool:
    return value is not None and (not isinstance(value, str) or bool(value.strip()))


def _loaded(body: Mapping[str, Any]) -> dict[str, Any]:
    try:
        found: dict[str, Any] = AuditForm().load(dict(body))
    except ValidationError as error:
        raise AuditError("; ".join(_said(error.messages))) from None
    return found


def _said(messages: Any) -> list[str]:
    by_field = sorted(messages.items())
    return [f"{LABELS.get(name, name)}: {text}" for name, texts in by_field for text in texts]


def _check_head(held: Connection, size: int, root: str) -> None:
    query = select(tree_heads.c.root).where(tree_heads.c.size == size)
    roots = {bytes(row[0]).hex() for row in held.execute(query)}
    if root not in roots:
        raise AuditError(
            f"the book never had a head of {size} entries with the root {root}; load the page "
            "again, and if it stands, have the book verified with the head that you keep"
        )
