"""Proposing an edition of a rule set, and putting a proposal aside.

A proposal is an entry of its own kind and changes no verdict; only its adoption does.
"""

from collections.abc import Callable, Mapping
from typing import Any

from sqlalchemy import Connection

from qa_engine.book.canonical import Submission
from qa_engine.book.draft import Draft
from qa_engine.book.proposals import (
    ADOPTED,
    DECLINED,
    KIND,
    WITHDRAWN,
    Proposal,
    instant_text,
    loaded,
    proposal_of,
)
from qa_engine.book.replacing import (
    OvertakenError,
    Standing,
    free_id,
    id_made_by,
    latest,
    put_together,
)
from qa_engine.book.store import Book
from qa_engine.errors import BookError

PREFIX = "EP"

Body = Mapping[str, Any]
Entering = Mapping[str, Mapping[str, Body]]
"""What comes in: by kind of entry, the bodies by id."""


def propose(book: Book, draft: Draft, why: str, submission: Submission) -> str:
    """Enter a proposal; return its id.

    Args:
        book: the record book.
        draft: the edition, in which nothing is wrong.
        why: why it is proposed.
        submission: how it comes in; who enters it proposes. The same key again adds nothing.

    Raises:
        BookError: it does not say why.
    """
    if not why.strip():
        raise BookError("say why this edition is proposed: who decides about it reads that")
    edition = draft.edition
    body = {
        **{name: getattr(edition, name) for name in ("rule_set", "edition", "title")},
        "text": draft.text,
        "why": why.strip(),
        "proposed_by": submission.entered_by,
        "proposed_at": instant_text(submission.entered_at),
    }
    loaded(body)
    with book.writing() as held:
        if (made := id_made_by(held, submission.key, KIND)) is not None:
            return made
        id_ = free_id(held, PREFIX, [KIND])
        put_together(held, {KIND: {id_: body}}, submission)
    return id_


def put_aside(book: Book, proposal: str, seen: int, reason: str, submission: Submission) -> None:
    """Enter that a proposal is withdrawn by its proposer, or declined by somebody else.

    Args:
        book: the record book.
        proposal: its id.
        seen: the entry of it that was seen.
        reason: why.
        submission: how it comes in.

    Raises:
        OvertakenError: it was decided meanwhile.
        BookError: no reason is given, or there is no such proposal.
    """
    if not reason.strip():
        raise BookError("say why: the proposal stays in the book together with that")

    def aside(standing: Standing, _: Connection) -> Entering:
        own = proposal_of(standing).is_by(submission.entered_by)
        outcome = WITHDRAWN if own else DECLINED
        return {KIND: {proposal: decided(standing, outcome, submission, reason=reason.strip())}}

    on_open(book, proposal, seen, aside, submission)


def decided(standing: Standing, outcome: str, submission: Submission, **more: str) -> Body:
    """Return the body of a proposal that was decided."""
    at = instant_text(submission.entered_at)
    became = {"outcome": outcome, "by": submission.entered_by, "at": at, **more}
    body = {**standing.body, "became": became}
    loaded(body)
    return body


def sought(held: Connection, proposal: str) -> Standing:
    """Return a proposal as it stands.

    Raises:
        BookError: there is none.
    """
    if (standing := latest(held, KIND, proposal)) is None:
        raise BookError(f"the book has no proposal '{proposal}'")
    return standing


def on_open(
    book: Book,
    proposal: str,
    seen: int,
    enters: Callable[[Standing, Connection], Entering],
    submission: Submission,
) -> None:
    """Enter what becomes of a proposal.

    Raises:
        OvertakenError: it does not stand as it was seen, or was decided.
    """
    with book.writing() as held:
        if id_made_by(held, submission.key, KIND) is not None:
            return
        standing = sought(held, proposal)
        check_open(standing, seen)
        put_together(held, enters(standing, held), submission)


def check_open(standing: Standing, seen: int) -> None:
    """Find out whether a proposal still stands as it was seen and waits to be decided.

    Raises:
        OvertakenError: it does not.
    """
    one = proposal_of(standing)
    if standing.entry != seen or not one.is_open:
        raise OvertakenError(_meanwhile(one, standing))


def _meanwhile(one: Proposal, standing: Standing) -> str:
    did = f"{standing.by} changed {one.proposal}"
    if one.became:
        since = f", in force from {one.became.from_day}" if one.became.from_day else ""
        why = f" ({one.became.reason})" if one.became.reason else ""
        verb = {WITHDRAWN: "withdrew", DECLINED: "declined", ADOPTED: "adopted"}[one.became.outcome]
        did = f"{standing.by} {verb} {one.proposal}{since}{why}"
    return (
        f"Meanwhile {did}, at {standing.at:%Y-%m-%d %H:%M} UTC. Nothing of yours was written; look "
        "at it as it stands now."
    )
