"""What is being done about findings: actions, permissions asked for, permissions given."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from typing import Any

from qa_engine.book.actions import (
    DONE_BUT_STANDS,
    NOTED,
    OVERDUE,
    SETTLED,
    STATES,
    TO_DO,
    WITHDRAWN,
    Action,
    actions_by_finding,
    actions_in,
)
from qa_engine.book.lookout import FleetState
from qa_engine.book.permission_requests import OPEN, Request, requests_in
from qa_engine.web.office import now, office

NOBODY, ASKED, PERMITTED = "nobody yet", "permission asked for", "under permission"
ANSWERS = (NOBODY, OVERDUE, DONE_BUT_STANDS, TO_DO, NOTED, ASKED, PERMITTED)
"""What findings can be narrowed to."""

LOOKS = {OVERDUE: "stop", DONE_BUT_STANDS: "care", TO_DO: "calm", ASKED: "care", NOTED: "open"}
"""How a word for a state looks; those not named are calm."""

_SILENT = (SETTLED, WITHDRAWN)


@dataclass(frozen=True)
class Told:
    """An action with how it stands."""

    action: Action
    state: str


@dataclass(frozen=True)
class Answers:
    """What the book has in answer to findings.

    Attributes:
        actions: all actions, what wants looking at first.
        requests: all requests for permissions.
        standing: identities of the findings that stand.
    """

    actions: tuple[Told, ...]
    requests: tuple[Request, ...]
    standing: frozenset[str]

    @cached_property
    def _by_finding(self) -> dict[str, list[Told]]:
        by_finding = actions_by_finding(told.action for told in self.actions)
        states = {told.action.action: told for told in self.actions}
        return {f: [states[one.action] for one in some] for f, some in by_finding.items()}

    @cached_property
    def _requests_by_finding(self) -> dict[str, list[Request]]:
        found: dict[str, list[Request]] = {}
        for one in self.requests:
            for finding in one.findings:
                found.setdefault(finding, []).append(one)
        return found

    @property
    def open_requests(self) -> tuple[Request, ...]:
        """Return the requests that nobody has decided on."""
        return tuple(one for one in self.requests if one.state == OPEN)

    def actions_on(self, finding: str) -> list[Told]:
        """Return the actions that answer a finding, what wants looking at first."""
        return self._by_finding.get(finding, [])

    def requests_on(self, finding: str) -> list[Request]:
        """Return the requests for permissions that name a finding."""
        return self._requests_by_finding.get(finding, [])

    def words(self, finding: Mapping[str, Any]) -> tuple[str, ...]:
        """Return in words what is being done about a finding that stands; ``NOBODY`` if nothing."""
        name = finding["finding"]
        found = [told.state for told in self.actions_on(name) if told.state not in _SILENT]
        if any(one.state == OPEN for one in self.requests_on(name)):
            found.append(ASKED)
        if finding["permission"]:
            found.append(PERMITTED)
        return tuple(dict.fromkeys(found)) or (NOBODY,)


def answers_to(state: FleetState) -> Answers:
    """Return what the book has in answer to the findings of a state."""
    book = office().book
    standing = state.once("standing", lambda: frozenset(state.findings.filter("stands")["finding"]))
    today = today_in(state)
    told = [Told(one, one.state(standing, today)) for one in actions_in(book)]
    told.sort(key=_urgency)
    return Answers(tuple(told), requests_in(book), standing)


def today_in(state: FleetState) -> date:
    """Return the operator's day."""
    return now().astimezone(state.register.zone).date()


def look(word: str) -> str:
    """Return how a word for a state looks."""
    return LOOKS.get(word, "calm")


def _urgency(told: Told) -> tuple[int, date, str]:
    one = told.action
    return STATES.index(told.state), one.until or date.max, one.action
