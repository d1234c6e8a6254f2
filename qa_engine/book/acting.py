"""Entering corrective actions: assigned, noted, changed, done, withdrawn."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from qa_engine.book.action_body import loaded
from qa_engine.book.actions import KIND, Action, action_of
from qa_engine.book.canonical import Submission
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

PREFIX = "A"
Body = dict[str, Any]


@dataclass(frozen=True)
class Plan:
    """What will be done, by whom and by when, as it was typed."""

    what: str
    who: str
    until: str

    def body(self) -> Body:
        """Return what an entry holds of it."""
        return {"what": self.what.strip(), "who": self.who.strip(), "until": self.until.strip()}


def assign(
    book: Book, findings: Sequence[str], plan: Plan, submission: Submission, note: str = ""
) -> str:
    """Enter an action that answers findings; return its id.

    Args:
        book: the record book.
        findings: identities of the findings.
        plan: what will be done, who will do it and by when.
        submission: how it comes in; the same key again adds nothing.
        note: a note that goes with it.

    Raises:
        BookError: a part is missing or wrong, or the last day has passed already.
    """
    body = {**_begun(findings, submission), **plan.body()}
    if note.strip():
        body["notes"] = [_note(note, submission)]
    _check_ahead(book, loaded(body)["until"], submission)
    return _entered(book, body, submission)


def note_on(book: Book, findings: Sequence[str], text: str, submission: Submission) -> str:
    """Enter a note on findings that nobody was assigned to yet; return its id.

    Raises:
        BookError: the note is empty or cannot be kept.
    """
    body = {**_begun(findings, submission), "notes": [_note(text, submission)]}
    return _entered(book, body, submission)


def add_note(book: Book, action: str, text: str, submission: Submission) -> None:
    """Add a note to an action, whatever became of it meanwhile.

    Raises:
        BookError: there is no such action, or the note cannot be kept.
    """
    note = _note(text, submission)

    def noted(standing: Standing) -> Body:
        return {**standing.body, "notes": [*standing.body.get("notes", ()), note]}

    _changed(book, action, None, noted, submission)


def change(book: Book, action: str, seen: int, plan: Plan, submission: Submission) -> None:
    """Assign an action anew: what, who or by when; so too one that was but noted.

    Args:
        book: the record book.
        action: its id.
        seen: the entry of it that was seen.
        plan: what holds from now on.
        submission: how it comes in.

    Raises:
        OvertakenError: it was changed meanwhile.
        BookError: as for ``assign``; it is done or withdrawn.
    """
    until = loaded({**_begun(["-"], submission), **plan.body()})["until"]

    def changed(standing: Standing) -> Body:
        if standing.body.get("until") != plan.until.strip():
            _check_ahead(book, until, submission)
        return {**standing.body, **plan.body()}

    _changed(book, action, seen, changed, submission)


def report_done(
    book: Book, action: str, seen: int, on: str, what: str, submission: Submission
) -> None:
    """Enter that an action was carried out.

    Args:
        book: the record book.
        action: its id.
        seen: the entry of it that was seen.
        on: the day, as YYYY-MM-DD.
        what: what was done.
        submission: how it comes in; who enters it did it.

    Raises:
        OvertakenError: it was changed meanwhile.
        BookError: the day lies ahead or is none; it is done or withdrawn already.
    """
    told = {"on": on.strip(), "by": submission.entered_by, "what": what}

    def done(standing: Standing) -> Body:
        if "what" not in standing.body:
            raise BookError(f"{action} is but a note; nothing in it can be reported as done")
        body = {**standing.body, "done": told}
        day, today = loaded(body)["done"]["on"], today_of(book, submission.entered_at)
        if day > today:
            raise BookError(f"the day it was done: {day} lies ahead; expected {today} or before")
        return body

    _changed(book, action, seen, done, submission)


def withdraw(book: Book, action: str, seen: int, reason: str, submission: Submission) -> None:
    """Enter that an action will not be carried out.

    Raises:
        OvertakenError: it was changed meanwhile.
        BookError: no reason is given; it is done or withdrawn already.
    """
    told = {"at": _text(submission.entered_at), "by": submission.entered_by, "reason": reason}
    _changed(book, action, seen, lambda standing: {**standing.body, "withdrawn": told}, submission)


def today_of(book: Book, instant: datetime) -> date:
    """Return the operator's day at an instant."""
    return instant.astimezone(ZoneInfo(book.about()["time_zone"])).date()


def _begun(findings: Sequence[str], submission: Submission) -> Body:
    return {
        "findings": list(dict.fromkeys(findings)),
        "asked_by": submission.entered_by,
        "asked_at": _text(submission.entered_at),
    }


def _note(text: str, submission: Submission) -> Body:
    return {"by": submission.entered_by, "at": _text(submission.entered_at), "text": text}


def _text(instant: datetime) -> str:
    return instant.astimezone(UTC).isoformat()


def _check_ahead(book: Book, until: date, submission: Submission) -> None:
    today = today_of(book, submission.entered_at)
    if until < today:
        raise BookError(f"by when: {until} has passed already; expected {today} or later")


def _entered(book: Book, body: Mapping[str, Any], submission: Submission) -> str:
    loaded(body)
    with book.writing() as held:
        if (made := id_made_by(held, submission.key, KIND)) is not None:
            return made
        action = free_id(held, PREFIX, [KIND])
        put_together(held, {KIND: {action: body}}, submission)
    return action


def _changed(
    book: Book,
    action: str,
    seen: int | None,
    changed: Callable[[Standing], Body],
    submission: Submission,
) -> None:
    """Enter what becomes of an action; a note, which overwrites nothing, need not have seen it."""
    with book.writing() as held:
        if id_made_by(held, submission.key, KIND) is not None:
            return
        if (standing := latest(held, KIND, action)) is None:
            raise BookError(f"the book has no action '{action}'; 'book actions' lists those it has")
        found = action_of(standing)
        if seen is not None and standing.entry != seen:
            raise OvertakenError(_meanwhile(found, standing))
        if seen is not None and found.is_closed:
            raise BookError(f"{action} {_what_became(found)}; only notes can be added to it")
        body = changed(standing)
        loaded(body)
        put_together(held, {KIND: {action: body}}, submission)


def _meanwhile(action: Action, standing: Standing) -> str:
    return (
        f"Meanwhile {standing.by} changed {action.action}, at {standing.at:%Y-%m-%d %H:%M} UTC: it "
        f"{_what_became(action)}. Nothing of yours was written; look at it as it stands now."
    )


def _what_became(action: Action) -> str:
    if action.done:
        return f"was done on {action.done.on} by {action.done.by}"
    if action.withdrawn:
        return f"was withdrawn by {action.withdrawn.by} ({action.withdrawn.reason})"
    if action.who:
        return f"is to be done by {action.who} until {action.until}"
    return f"has {len(action.notes)} notes"
