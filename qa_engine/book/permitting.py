"""Asking for a permission, and deciding: what one person asked for, another approves or refuses.

A request is an entry of its own kind. Only its approval enters a permission, so that a permission
in the book always counts, and inspections need not know of requests.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from sqlalchemy import Connection

from qa_engine.book.canonical import Submission
from qa_engine.book.permission_body import body_of
from qa_engine.book.permission_requests import (
    APPROVED,
    KIND,
    REFUSED,
    TAKEN_BACK,
    Asked,
    Request,
    instant_text,
    loaded,
    request_of,
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
from qa_engine.errors import BookError, nearest
from qa_engine.permissions import (
    DEVIATION_PERMIT,
    Circumstances,
    Permission,
    faults_of,
)
from qa_engine.permissions.form import LONGEST_D
from qa_engine.permissions.permission import follows, starts

PREFIX = "PR"
NOBODY = "another"
"""Who approves a permission that is only tried."""

HINDERING = ("too long", "not judged", "takes none", "unknown place")
"""Faults of a permission with which it is not even asked for."""


@dataclass(frozen=True)
class Giving:
    """What permissions are given by.

    Attributes:
        known: the rules that judge, and the register.
        longest_d: the longest term that a permission may have [days].
    """

    known: Circumstances
    longest_d: int = LONGEST_D


def ask(book: Book, asked: Asked, giving: Giving, submission: Submission) -> str:
    """Enter that somebody asks for a permission; return the id of the request.

    Raises:
        BookError: a part is missing or wrong, or no such permission may be given.
    """
    body = _begun(asked, submission)
    _check(body, giving, submission.entered_at)
    with book.writing() as held:
        if (made := id_made_by(held, submission.key, KIND)) is not None:
            return made
        request = free_id(held, PREFIX, [KIND, "permission"])
        put_together(held, {KIND: {request: body}}, submission)
    return request


def ask_otherwise(
    book: Book, request: str, seen: int, asked: Asked, giving: Giving, submission: Submission
) -> None:
    """Enter that who asked for a permission asks for something else.

    Raises:
        OvertakenError: it was changed or decided meanwhile.
        BookError: as for ``ask``; or it was decided, or another person asked for it.
    """

    def otherwise(one: Request, held: Connection) -> None:
        if one.requested_by.casefold() != submission.entered_by.casefold():
            raise BookError(f"{one.requested_by} asked for {request}; only they can change it")
        body = {**_begun(asked, submission), "requested_at": instant_text(one.requested_at)}
        _check(body, giving, submission.entered_at)
        put_together(held, {KIND: {request: body}}, submission)

    _on_open(book, request, seen, otherwise, submission)


def approve(book: Book, request: str, seen: int, giving: Giving, submission: Submission) -> None:
    """Enter that a permission is given; from then on it counts.

    Raises:
        OvertakenError: the request was changed or decided meanwhile.
        BookError: it was decided, who approves it asked for it, or no such permission may be given.
    """

    def approved(one: Request, held: Connection) -> None:
        if one.requested_by.casefold() == submission.entered_by.casefold():
            raise BookError(
                f"{one.requested_by} asked for {request}; another person must approve it"
            )
        given = _permission(one, giving, submission)
        _hindered(given, giving)
        bodies = {KIND: {request: _decided(held, request, APPROVED, "", submission)}}
        put_together(held, {**bodies, "permission": {request: body_of(given)}}, submission)

    _on_open(book, request, seen, approved, submission)


def refuse(book: Book, request: str, seen: int, reason: str, submission: Submission) -> None:
    """Enter that a permission is not given, and why; the request stays in the book.

    Raises:
        OvertakenError: the request was changed or decided meanwhile.
        BookError: no reason is given; it was decided; or who refuses it asked for it.
    """

    def refused(one: Request, held: Connection) -> None:
        if one.requested_by.casefold() == submission.entered_by.casefold():
            raise BookError(f"{one.requested_by} asked for {request}, and can only take it back")
        if not reason.strip():
            raise BookError("say why it is refused")
        _close(held, request, REFUSED, reason, submission)

    _on_open(book, request, seen, refused, submission)


def take_back(book: Book, request: str, seen: int, reason: str, submission: Submission) -> None:
    """Enter that who asked for a permission does so no longer.

    Raises:
        OvertakenError: the request was changed or decided meanwhile.
        BookError: it was decided, or another person asked for it.
    """

    def taken_back(one: Request, held: Connection) -> None:
        if one.requested_by.casefold() != submission.entered_by.casefold():
            raise BookError(f"{one.requested_by} asked for {request}; only they can take it back")
        _close(held, request, TAKEN_BACK, reason, submission)

    _on_open(book, request, seen, taken_back, submission)


def _begun(asked: Asked, submission: Submission) -> dict[str, Any]:
    by, at = submission.entered_by, instant_text(submission.entered_at)
    return {**asked.body(), "requested_by": by, "requested_at": at}


def _check(body: dict[str, Any], giving: Giving, now: datetime) -> None:
    loaded(body)
    tried = Submission("", now, NOBODY)
    one = request_of(Standing("", 0, body, now, body["requested_by"]))
    _hindered(_permission(one, giving, tried), giving)


def _permission(one: Request, giving: Giving, submission: Submission) -> Permission:
    """Return the permission that a request becomes if it is approved now.

    A deviation permit begins with its approval at the earliest, a concession ends with it.
    """
    zone, now = giving.known.register.zone, submission.entered_at
    given = Permission(
        one.request,
        one.type,
        one.rule_set,
        one.rule,
        one.van,
        one.tank,
        one.reason,
        one.requested_by,
        submission.entered_by,
        one.requested_at,
        now,
        one.begins,
        one.until,
        giving.longest_d,
        source="asked for in the book",
        line=0,
        sha256="",
    )
    if one.type == DEVIATION_PERMIT and starts(one.begins, zone) < now:
        return replace(given, begins=now)
    if one.type != DEVIATION_PERMIT and follows(one.until, zone) > now:
        return replace(given, until=now)
    return given


def _hindered(given: Permission, giving: Giving) -> None:
    zone = giving.known.register.zone
    if starts(given.begins, zone) >= follows(given.until, zone):
        says = "has passed already; a deviation permit begins with its approval at the earliest"
        if given.type != DEVIATION_PERMIT:
            says = "lies ahead; a concession is for what has happened, a deviation permit for later"
        moment = given.until if given.type == DEVIATION_PERMIT else given.begins
        raise BookError(f"{'until' if given.type == DEVIATION_PERMIT else 'from'}: {moment} {says}")
    _check_rule(given, giving)
    hindering = [f for f in faults_of(given, giving.known) if f.fault in HINDERING]
    if hindering:
        raise BookError(" ".join(fault.says for fault in hindering))


def _check_rule(given: Permission, giving: Giving) -> None:
    """Refuse a rule that its set lacks in every edition; most likely its name is misspelt."""
    sets = [one for one in giving.known.editions if one.rule_set == given.rule_set]
    rules = sorted({rule.rule for one in sets for rule in one.rules})
    if given.rule and rules and given.rule not in rules:
        hint = nearest(given.rule, rules) or "'qa-engine rules list' shows all rules"
        raise BookError(f"the rule: '{given.rule_set}' has no rule '{given.rule}'; {hint}")


def _decided(
    held: Connection, request: str, outcome: str, reason: str, submission: Submission
) -> dict[str, Any]:
    standing = latest(held, KIND, request)
    body = dict(standing.body) if standing else {}
    at = instant_text(submission.entered_at)
    why = {"reason": reason} if reason.strip() else {}
    decided = {
        **body,
        "decision": {"outcome": outcome, "by": submission.entered_by, "at": at, **why},
    }
    loaded(decided)
    return decided


def _close(
    held: Connection, request: str, outcome: str, reason: str, submission: Submission
) -> None:
    body = _decided(held, request, outcome, reason, submission)
    put_together(held, {KIND: {request: body}}, submission)


def _on_open(
    book: Book,
    request: str,
    seen: int,
    does: Callable[[Request, Connection], None],
    submission: Submission,
) -> None:
    """Do something with a request, if it is open and stands as it was seen."""
    with book.writing() as held:
        if id_made_by(held, submission.key, KIND) is not None:
            return
        if (standing := latest(held, KIND, request)) is None:
            raise BookError(f"the book has no request '{request}'")
        one = request_of(standing)
        if standing.entry != seen or one.decision:
            raise OvertakenError(_meanwhile(one, standing))
        does(one, held)


def _meanwhile(one: Request, standing: Standing) -> str:
    did = f"{standing.by} changed what {one.request} asks for"
    if one.decision:
        words = {APPROVED: "approved", REFUSED: "refused", TAKEN_BACK: "took back"}
        why = f" ({one.decision.reason})" if one.decision.reason else ""
        did = f"{standing.by} {words[one.decision.outcome]} {one.request}{why}"
    return (
        f"Meanwhile {did}, at {standing.at:%Y-%m-%d %H:%M} UTC. Nothing of yours was written; look "
        "at it as it stands now."
    )
