"""Adopting an edition: what one person proposed, another one puts in force from a day on.

From then on the book is judged by it, each event by the edition in force on its own day: what
happened before that day stays judged as it was.
"""

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from hashlib import sha256
from zoneinfo import ZoneInfo

from sqlalchemy import Connection

from qa_engine.book.canonical import Submission
from qa_engine.book.draft import SOURCE, Draft, begun_on, draft_of
from qa_engine.book.house import adopted_name, text_of
from qa_engine.book.proposals import ADOPTED, KIND, Proposal, proposal_of
from qa_engine.book.proposing import Entering, check_open, decided, on_open, sought
from qa_engine.book.reading import latest_bodies
from qa_engine.book.replacing import Standing, id_made_by
from qa_engine.book.store import Book
from qa_engine.errors import BookError
from qa_engine.facts import ENGINE_FACTS
from qa_engine.facts.catalogue import Catalogue
from qa_engine.rulesets import Edition, read_rule_sets

RULE_SET = "rule_set"
"""The kind of entry that holds an edition by which the book is judged."""

MARK = "\N{ZERO WIDTH NO-BREAK SPACE}"
"""What some programs write before a text; the digest of a file counts it."""


@dataclass(frozen=True)
class Rulebook:
    """What an edition would stand beside.

    Attributes:
        editions: those that judge, or will.
        catalogue: the facts that rules may name.
    """

    editions: tuple[Edition, ...]
    catalogue: Catalogue


def adopt(
    book: Book,
    proposal: str,
    seen: int,
    on: date,
    beside: Rulebook,
    submission: Submission,
    *,
    past_too: bool = False,
) -> None:
    """Enter that an edition is adopted: it judges what happens from a day on.

    A book that had adopted nothing takes in, word for word, the editions that judged it until now,
    so that they go on judging beside the new one.

    Args:
        book: the record book.
        proposal: the id of the proposal.
        seen: the entry of it that was seen.
        on: the first day on which it judges; it is written into the rule file.
        beside: what it would stand beside.
        submission: how it comes in; who enters it adopts.
        past_too: whether days that have passed may be judged anew.

    Raises:
        OvertakenError: it was decided meanwhile.
        RuleSetError: it does not fit beside the others; ``problems`` says where.
        BookError: who adopts it proposed it, or the day has passed and ``past_too`` is not said.
    """
    with book.reading() as held:
        if id_made_by(held, submission.key, KIND) is not None:
            return
        found = sought(held, proposal)
    check_open(found, seen)
    one = proposal_of(found)
    _check_second(one, submission)
    _check_day(book, on, submission, past_too=past_too)
    # Looked at before the book is held: that takes a while, and a proposal's text never changes.
    draft = draft_of(begun_on(one.text, on).encode(), beside.editions, beside.catalogue)

    def adopted(standing: Standing, held: Connection) -> Entering:
        told = {
            "proposal": proposal,
            "proposed_by": one.proposed_by,
            "approved_by": submission.entered_by,
        }
        texts = _entering(held, draft, beside.editions)
        rules = {id_: {"text": text, **told} for id_, text in texts.items()}
        body = decided(standing, ADOPTED, submission, from_day=on.isoformat())
        return {KIND: {proposal: body}, RULE_SET: rules}

    on_open(book, proposal, seen, adopted, submission)


def _check_second(one: Proposal, submission: Submission) -> None:
    if one.is_by(submission.entered_by):
        raise BookError(
            f"{one.proposed_by} proposed {one.proposal}, so another person must adopt it"
        )


def _check_day(book: Book, on: date, submission: Submission, *, past_too: bool) -> None:
    zone = ZoneInfo(book.about()["time_zone"])
    today = submission.entered_at.astimezone(zone).date()
    if on < today and not past_too:
        raise BookError(
            f"{on} has passed already: what happened since would be judged anew. Choose {today} or "
            "a later day, or say that past days are to be judged anew"
        )


def _entering(held: Connection, draft: Draft, editions: Iterable[Edition]) -> dict[str, str]:
    """Return the rule files that come in with an adoption, by ``set/edition``.

    Raises:
        RuleSetError: the book has adopted meanwhile what the draft does not fit beside.
    """
    standing = latest_bodies(held, RULE_SET)
    carried = {} if standing else {_name(one): as_written(one) for one in editions}
    texts = {id_: text_of(json.loads(body)) for id_, body in standing.items()}
    check_beside(texts or carried, {SOURCE: draft.text})
    return {**carried, _name(draft.edition): draft.text}


def check_beside(adopted: Mapping[str, str], taken: Mapping[str, str]) -> None:
    """Find rule files that clash with those adopted before.

    Args:
        adopted: the rule files that stay, by ``set/edition``.
        taken: those that come in, by what problems call them.

    Raises:
        RuleSetError: two editions have one name, or two of a set begin on one day.
    """
    sources = [(adopted_name(id_), text.encode()) for id_, text in adopted.items()]
    sources += [(source, text.encode()) for source, text in taken.items()]
    read_rule_sets(sources, Catalogue.of(ENGINE_FACTS), unknown_names="undecided")


def _name(edition: Edition) -> str:
    return f"{edition.rule_set}/{edition.edition}"


def as_written(edition: Edition) -> str:
    """Return the rule file of an edition, to the byte."""
    text = edition.document.text
    return text if sha256(text.encode()).hexdigest() == edition.sha256 else MARK + text
