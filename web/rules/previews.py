"""What a proposal would change, reckoned when somebody asks and kept until the book has grown."""

import threading
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, replace
from hashlib import sha256

from flask import Flask, current_app

from qa_engine.book.adopting import as_written
from qa_engine.book.draft import SOURCE, before
from qa_engine.book.lookout import FleetState
from qa_engine.book.proposals import Proposal
from qa_engine.plugin_host import installed_plugins
from qa_engine.preview import Preview, compare
from qa_engine.rulesets import Edition

EXTENSION = "previews"
MOST_KEPT = 8
PATIENCE_S = 30.0
"""For how long one who asks waits for what another one asked for [s]."""


@dataclass(frozen=True)
class Reckoned:
    """A preview, and what it was reckoned on.

    Attributes:
        key: what it is kept by.
        proposal: the id of the proposal.
        entries: how many entries the book had.
        preview: what would change; without the records.
        old: the edition in whose place the proposed one would judge.
    """

    key: str
    proposal: str
    entries: int
    preview: Preview
    old: Edition | None


class Previews:
    """The latest previews, kept in this process only; one is reckoned at a time."""

    def __init__(self) -> None:
        self._kept: OrderedDict[str, Reckoned] = OrderedDict()
        self._working = threading.Lock()

    def get(self, key: str) -> Reckoned | None:
        """Return a preview; None if it was never reckoned or is not kept any more."""
        return self._kept.get(key)

    def latest_on(self, proposal: str) -> Reckoned | None:
        """Return the latest preview on a proposal."""
        found = [one for one in list(self._kept.values()) if one.proposal == proposal]
        return found[-1] if found else None

    def reckoned(self, key: str, reckon: Callable[[], Reckoned]) -> Reckoned | None:
        """Return a preview, reckoned unless it is kept; None if another one takes too long."""
        if (kept := self._kept.get(key)) is not None:
            return kept
        if not self._working.acquire(timeout=PATIENCE_S):
            return None
        try:
            if (kept := self._kept.get(key)) is not None:
                return kept
            self._kept[key] = reckon()
            while len(self._kept) > MOST_KEPT:
                self._kept.popitem(last=False)
            return self._kept[key]
        finally:
            self._working.release()


def previews() -> Previews:
    """Return the previews of the front end that answers this request."""
    app: Flask = current_app._get_current_object()  # type: ignore[attr-defined]
    found: Previews = app.extensions.setdefault(EXTENSION, Previews())
    return found


def preview_of(proposal: Proposal, edition: Edition, state: FleetState) -> Reckoned | None:
    """Return what a proposal would change over the fleet's own history; None if all are busy.

    Args:
        proposal: the proposal.
        edition: the edition that it holds.
        state: what the rules say now.
    """
    named = (edition.rule_set, edition.edition)
    others = [one for one in state.editions if (one.rule_set, one.edition) != named]
    old = before(edition, others)
    key = _key(proposal, old, state)
    return previews().reckoned(key, lambda: _reckoned(key, proposal, old, state))


def _key(proposal: Proposal, old: Edition | None, state: FleetState) -> str:
    """Return what names a preview: the proposal, and what it is compared with and judged on."""
    day = state.as_of.astimezone(state.register.zone).date()
    told = (proposal.proposal, proposal.text, old.sha256 if old else "", state.entries, day)
    return sha256(repr(told).encode()).hexdigest()[:32]


def _reckoned(key: str, proposal: Proposal, old: Edition | None, state: FleetState) -> Reckoned:
    was = [(old.source, as_written(old).encode())] if old else []
    becomes = [(SOURCE, proposal.text.encode())]
    task = state.inspection.assignment
    found = compare(task, installed_plugins(), lambda _: was, lambda _: becomes)
    slim = replace(found, assignment=replace(task, frames={}))
    return Reckoned(key, proposal.proposal, state.entries, slim, old)
