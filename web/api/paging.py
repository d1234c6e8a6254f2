"""Long answers, page by page: a limit, and a cursor after which to go on."""

import json
from base64 import urlsafe_b64decode, urlsafe_b64encode
from dataclasses import dataclass
from typing import Any

import polars as pl
from flask import request, url_for
from marshmallow import RAISE, Schema, fields
from marshmallow.validate import Length, Range

from qa_engine.book.lookout import FleetState
from qa_engine.web.api.answers import Answer, Moment
from qa_engine.web.api.calls import Question
from qa_engine.web.api.problems import address_of
from qa_engine.web.faults import Refusal

MOST, USUAL = 1000, 100
LONGEST_CURSOR = 600
FAR = 2**31


class Paged(Schema):
    """A question whose answer comes in pages."""

    class Meta:
        unknown = RAISE

    limit = fields.Integer(
        load_default=USUAL,
        validate=Range(1, MOST, error=f"a whole number from 1 to {MOST}"),
        error_messages={"invalid": f"a whole number from 1 to {MOST}"},
        metadata={"description": "How many to give at most."},
    )
    after = fields.String(
        validate=Length(max=LONGEST_CURSOR),
        metadata={"description": "Where to go on; take it from 'next' of the page before."},
    )


class AsOf(Answer):
    """What every answer about the fleet says of itself."""

    as_of = Moment(metadata={"description": "The instant as of which the book was judged."})
    entries = fields.Integer(
        metadata={
            "description": "How many entries the book had; another number on the next page says "
            "that the list may have changed in between."
        }
    )


class PageOf(AsOf):
    """What every page says of itself."""

    next = fields.String(
        allow_none=True,
        metadata={
            "format": "uri-reference",
            "description": "The address of the next page; null on the last.",
        },
    )


@dataclass(frozen=True)
class Page:
    """The rows of one page and the address of the next."""

    rows: pl.DataFrame
    next: str | None

    def told(self, state: FleetState) -> dict[str, Any]:
        """Return what a page says of itself."""
        return {"as_of": state.as_of, "entries": state.entries, "next": self.next}


def page_of(frame: pl.DataFrame, name: pl.Expr, asked: Question) -> Page:
    """Return the page of a frame that was asked for.

    Args:
        frame: all rows, in an order that stays the same while the book does.
        name: what each row is called, a text; the cursor remembers it.
        asked: the loaded question, of a ``Paged`` schema.
    """
    names = frame.select(name.alias("name"))["name"]
    start = _start(names, asked["after"]) if asked.get("after") else 0
    rows = frame[start : start + asked["limit"]]
    end = start + rows.height
    more = bool(rows.height) and end < frame.height
    return Page(rows, _address(_cursor(end, names[end - 1]), asked) if more else None)


def _start(names: pl.Series, cursor: str) -> int:
    """Return where to go on: after the row that was last, or at its place if it is gone."""
    place, name = _read(cursor)
    found = (names == name).arg_true()
    return int(found[0]) + 1 if len(found) else place


def _cursor(place: int, name: str) -> str:
    return urlsafe_b64encode(json.dumps([place, name]).encode()).decode()


def _read(cursor: str) -> tuple[int, str]:
    try:
        place, name = json.loads(urlsafe_b64decode(cursor))
        good = isinstance(name, str) and type(place) is int and 0 <= place < FAR
    except (ValueError, TypeError, RecursionError):
        good = False
    if not good:
        raise Refusal(
            422, "'after' is no cursor; take it from 'next'.", address_of("question-refused")
        )
    return place, name


def _address(cursor: str, asked: Question) -> str:
    place = {**(request.view_args or {}), **asked, "after": cursor}
    return url_for(request.endpoint or "", **place)
