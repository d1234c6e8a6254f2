"""Editions of rule sets that were proposed, as entries of the book, and what became of each."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

from marshmallow import RAISE, Schema, ValidationError, fields

from qa_engine.book.replacing import Standing, standing_in
from qa_engine.book.store import Book
from qa_engine.errors import BookError
from qa_engine.fields import Day, Identifier, Instant, Text, Word

KIND = "proposal"
OPEN, ADOPTED, WITHDRAWN, DECLINED = "open", "adopted", "withdrawn", "declined"
LABELS = {"why": "why", "reason": "the reason", "text": "the rules", "by": "who"}
"""How messages call a field."""


class _Strict(Schema):
    class Meta:
        unknown = RAISE


class OutcomeForm(_Strict):
    """What became of a proposal: by whom, when and why; if adopted, from which day on."""

    outcome = Word(ADOPTED, WITHDRAWN, DECLINED, required=True)
    by = Identifier(required=True)
    at = Instant(required=True)
    reason = Text()
    from_day = Day()


class ProposalForm(_Strict):
    """A proposal: all of it, as it stands with this entry."""

    rule_set = Text(required=True)
    edition = Text(required=True)
    title = Text(required=True)
    text = fields.String(required=True)
    why = Text(required=True)
    proposed_by = Identifier(required=True)
    proposed_at = Instant(required=True)
    became = fields.Nested(OutcomeForm)


@dataclass(frozen=True)
class Became:
    """What became of a proposal.

    Attributes:
        outcome: ``ADOPTED``, ``WITHDRAWN`` by its proposer, or ``DECLINED`` by somebody else.
        by, at: who decided, and when.
        reason: why; may be None for one adopted.
        from_day: the first day on which an adopted edition judges.
    """

    outcome: str
    by: str
    at: datetime
    reason: str | None = None
    from_day: date | None = None


@dataclass(frozen=True)
class Proposal:
    """An edition of a rule set that somebody proposed.

    Attributes:
        proposal: its id.
        entry: the number of its latest entry.
        rule_set, edition, title: what it would be called.
        text: the rule file as proposed.
        why: why it is proposed.
        proposed_by, proposed_at: by whom, and when.
        became: what became of it; None while it is open.
    """

    proposal: str
    entry: int
    rule_set: str
    edition: str
    title: str
    text: str
    why: str
    proposed_by: str
    proposed_at: datetime
    became: Became | None

    @property
    def state(self) -> str:
        """Return how it stands."""
        return self.became.outcome if self.became else OPEN

    @property
    def is_open(self) -> bool:
        """Tell whether nobody decided about it yet."""
        return self.became is None

    def is_by(self, person: str) -> bool:
        """Tell whether a person proposed it."""
        return self.proposed_by.strip().casefold() == person.strip().casefold()


def proposals_in(book: Book, known_at: datetime | None = None) -> tuple[Proposal, ...]:
    """Return the proposals of a book, in the order in which they were made.

    Args:
        book: the record book.
        known_at: what it knew at this instant; by default, all that it knows.
    """
    return tuple(proposal_of(one) for one in standing_in(book, KIND, known_at))


def proposal_of(standing: Standing) -> Proposal:
    """Return the proposal that an entry holds."""
    held = loaded(standing.body)
    became = held.pop("became", None)
    return Proposal(
        standing.id, standing.entry, **held, became=Became(**became) if became else None
    )


def loaded(body: Mapping[str, Any]) -> dict[str, Any]:
    """Return the body of an entry with its days and instants read.

    Raises:
        BookError: it does not hold a proposal; says of each field what is wrong.
    """
    try:
        found: dict[str, Any] = ProposalForm().load(dict(body))
    except ValidationError as error:
        raise BookError("; ".join(_said(error.messages))) from None
    return found


def _said(messages: Any, name: str = "") -> list[str]:
    if isinstance(messages, Mapping):
        return [text for key, inner in messages.items() for text in _said(inner, str(key))]
    return [f"{LABELS.get(name, name)}: {text}" for text in messages]


def instant_text(instant: datetime) -> str:
    """Return an instant as a body holds it."""
    return instant.astimezone(UTC).isoformat()
