"""Permissions that were asked for, as entries of the book, and what became of each."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

from marshmallow import RAISE, Schema, ValidationError, fields

from qa_engine.book.replacing import Standing, standing_in
from qa_engine.book.store import Book
from qa_engine.errors import BookError
from qa_engine.fields import Day, Identifier, Instant, Text, Word
from qa_engine.permissions import CONCESSION, DEVIATION_PERMIT

KIND = "permission_request"
OPEN, APPROVED, REFUSED, TAKEN_BACK = "open", "approved", "refused", "taken back"
LABELS = {
    "type": "the type",
    "rule": "the rule",
    "reason": "the reason",
    "begins": "from",
    "until": "until",
    "van": "the van",
    "tank": "the tank",
}
"""How messages call a field."""


class _Strict(Schema):
    class Meta:
        unknown = RAISE


class DecisionForm(_Strict):
    """What became of a request: by whom, when and why."""

    outcome = Word(APPROVED, REFUSED, TAKEN_BACK, required=True)
    by = Identifier(required=True)
    at = Instant(required=True)
    reason = Text()


class RequestForm(_Strict):
    """A request: all of it, as it stands with this entry."""

    type = Word(CONCESSION, DEVIATION_PERMIT, required=True)
    rule_set = Text(required=True)
    rule = Text()
    van = Identifier()
    tank = Identifier()
    reason = Text(required=True)
    begins = Day(required=True)
    until = Day(required=True)
    findings = fields.List(Text(required=True))
    requested_by = Identifier(required=True)
    requested_at = Instant(required=True)
    decision = fields.Nested(DecisionForm)


@dataclass(frozen=True)
class Asked:
    """What a permission is asked for, as it was typed; days as YYYY-MM-DD.

    Attributes:
        type: ``CONCESSION`` (after the event) or ``DEVIATION_PERMIT`` (before it).
        rule_set: the rule set; ``rule`` the rule, empty for every rule of the set.
        van, tank: where it is to hold; empty for everywhere.
        reason: why.
        begins, until: its first and last day.
        findings: identities of the findings that it answers.
    """

    type: str
    rule_set: str
    rule: str
    van: str
    tank: str
    reason: str
    begins: str
    until: str
    findings: tuple[str, ...] = ()

    def body(self) -> dict[str, Any]:
        """Return what an entry holds of it."""
        held: dict[str, Any] = {n: v.strip() for n, v in vars(self).items() if n != "findings"}
        return {n: v for n, v in held.items() if v} | {"findings": list(self.findings)}


@dataclass(frozen=True)
class Decision:
    """What became of a request: ``APPROVED``, ``REFUSED`` or ``TAKEN_BACK``; by whom, when, why."""

    outcome: str
    by: str
    at: datetime
    reason: str | None


@dataclass(frozen=True)
class Request:
    """A permission that was asked for.

    Attributes:
        request: its id; the permission, if there comes to be one, has the same.
        entry: the number of its latest entry.
        type, rule_set, rule, van, tank, reason, begins, until: what is asked, as in
            ``qa_engine.permissions.Permission``; whole days.
        findings: identities of the findings that it answers.
        requested_by, requested_at: who asked for it and when.
        decision: what became of it; None while it is open.
    """

    request: str
    entry: int
    type: str
    rule_set: str
    rule: str | None
    van: str | None
    tank: str | None
    reason: str
    begins: date
    until: date
    findings: tuple[str, ...]
    requested_by: str
    requested_at: datetime
    decision: Decision | None

    @property
    def about(self) -> str:
        """Return the rule that it is about, as ``set/rule``, or the set."""
        return f"{self.rule_set}/{self.rule}" if self.rule else self.rule_set

    @property
    def state(self) -> str:
        """Return ``OPEN``, or what became of it."""
        return self.decision.outcome if self.decision else OPEN


def requests_in(book: Book, known_at: datetime | None = None) -> tuple[Request, ...]:
    """Return the requests for permissions of a book, in the order in which they were entered.

    Args:
        book: the record book.
        known_at: what it knew at this instant; by default, all that it knows.
    """
    return tuple(request_of(one) for one in standing_in(book, KIND, known_at))


def loaded(body: Mapping[str, Any]) -> dict[str, Any]:
    """Return a body with its days and instants read.

    Raises:
        BookError: it does not hold a request; says of each field what is wrong and what would do.
    """
    try:
        found: dict[str, Any] = RequestForm().load(dict(body))
    except ValidationError as error:
        said = [f"{LABELS.get(name, name)}: {texts[0]}" for name, texts in _flat(error.messages)]
        raise BookError("; ".join(said)) from None
    if found["until"] < found["begins"]:
        raise BookError(f"until: it ends on {found['until']}, before it begins")
    return found


def _flat(messages: Any) -> list[tuple[str, list[str]]]:
    return [
        (name, next(iter(texts.values())) if isinstance(texts, Mapping) else texts)
        for name, texts in messages.items()
    ]


def request_of(standing: Standing) -> Request:
    """Return the request that an entry holds."""
    held = loaded(standing.body)
    decision = held.pop("decision", None)
    absent: dict[str, Any] = dict.fromkeys(("rule", "van", "tank"))
    held["findings"] = tuple(held.get("findings", ()))
    told = {"reason": None, **decision} if decision else None
    return Request(
        request=standing.id,
        entry=standing.entry,
        decision=Decision(**told) if told else None,
        **{**absent, **held},
    )


def instant_text(instant: datetime) -> str:
    """Return an instant as bodies hold it: ISO 8601 in UTC."""
    return instant.astimezone(UTC).isoformat()
