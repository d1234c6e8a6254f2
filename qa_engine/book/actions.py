"""Corrective actions: who answers which findings, with what, and by when.

An action is an entry of the book. What becomes of it (a note, another day, done, withdrawn) is a
later entry with its id that takes its place; what the book had stays in it. An action changes no
verdict: a finding goes away only when records settle it, whoever says that the work is done.
"""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from qa_engine.book.action_body import loaded
from qa_engine.book.replacing import Standing, standing_in
from qa_engine.book.store import Book

KIND = "action"

NOTED, TO_DO, OVERDUE, DONE, WITHDRAWN = "noted", "to do", "overdue", "done", "withdrawn"
DONE_BUT_STANDS = "done, but the finding stands"
SETTLED = "settled by records"
STATES = (OVERDUE, DONE_BUT_STANDS, TO_DO, NOTED, SETTLED, DONE, WITHDRAWN)
"""How an action may stand, what wants looking at first."""

SETTLES_NOTHING = "An action changes no verdict: a finding goes away only when records settle it."


@dataclass(frozen=True)
class Note:
    """What somebody noted about a finding or an action."""

    by: str
    at: datetime
    text: str


@dataclass(frozen=True)
class Done:
    """What was done, on which day and by whom."""

    on: date
    by: str
    what: str


@dataclass(frozen=True)
class Withdrawn:
    """Why an action will not be carried out, and who said so."""

    at: datetime
    by: str
    reason: str


@dataclass(frozen=True)
class Action:
    """A corrective action as it stands in the book; or mere notes, where nobody was named yet.

    Attributes:
        action: its id.
        entry: the number of its latest entry.
        findings: identities of the findings that it answers.
        what: what will be done; None for mere notes, and so are ``who`` and ``until``.
        who: the id of the person who will do it.
        until: the last day for it.
        asked_by, asked_at: who asked for it, and when.
        notes: what was noted, the oldest first.
        done, withdrawn: what became of it, if anything.
    """

    action: str
    entry: int
    findings: tuple[str, ...]
    what: str | None
    who: str | None
    until: date | None
    asked_by: str
    asked_at: datetime
    notes: tuple[Note, ...]
    done: Done | None
    withdrawn: Withdrawn | None

    @property
    def is_closed(self) -> bool:
        """Tell whether it was done or withdrawn, so that nothing can be changed in it."""
        return bool(self.done or self.withdrawn)

    def state(self, standing: Collection[str], today: date) -> str:
        """Return how the action stands, one of ``STATES``.

        Args:
            standing: identities of the findings that stand.
            today: the operator's day.
        """
        stands = any(finding in standing for finding in self.findings)
        if self.withdrawn:
            return WITHDRAWN
        if self.done:
            return DONE_BUT_STANDS if stands else DONE
        if not stands:
            return SETTLED
        if self.until is None:
            return NOTED
        return OVERDUE if self.until < today else TO_DO


def actions_in(book: Book, known_at: datetime | None = None) -> tuple[Action, ...]:
    """Return the actions of a book, in the order in which they were first entered.

    Args:
        book: the record book.
        known_at: what it knew at this instant; by default, all that it knows.
    """
    return tuple(action_of(one) for one in standing_in(book, KIND, known_at))


def actions_by_finding(actions: Iterable[Action]) -> dict[str, tuple[Action, ...]]:
    """Return the actions that answer each finding, by its identity."""
    found: dict[str, tuple[Action, ...]] = {}
    for one in actions:
        for finding in one.findings:
            found[finding] = (*found.get(finding, ()), one)
    return found


def action_of(standing: Standing) -> Action:
    """Return the action that an entry holds."""
    held: Mapping[str, Any] = loaded(standing.body)
    done, withdrawn = held.get("done"), held.get("withdrawn")
    return Action(
        action=standing.id,
        entry=standing.entry,
        findings=tuple(held["findings"]),
        what=held.get("what"),
        who=held.get("who"),
        until=held.get("until"),
        asked_by=held["asked_by"],
        asked_at=held["asked_at"],
        notes=tuple(Note(**note) for note in held.get("notes", ())),
        done=Done(**done) if done else None,
        withdrawn=Withdrawn(**withdrawn) if withdrawn else None,
    )
