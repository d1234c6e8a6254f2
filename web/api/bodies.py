"""What a program sends: one record, a list of them, or JSON Lines, each row kept as written."""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from qa_engine.web.faults import Refusal

LIST, LINES = "application/json", "application/x-ndjson"
KEY, RECORDS = "key", "records"
BLANK = " \t\r\n"
_DECODER = json.JSONDecoder()
"""Finds where rows begin and end; what they hold the intake reads, as it was written."""


@dataclass(frozen=True)
class Body:
    """Rows as JSON Lines, and the key if one came with them."""

    lines: bytes
    key: str | None = None


def body_of(sent: bytes, media: str) -> Body:
    """Return what was sent as rows.

    Raises:
        Refusal: it is of another kind, or no JSON.
    """
    if media == LINES:
        return Body(sent)
    if media != LIST:
        raise Refusal(415, f"Send {LIST} (a record, a list, or key and records) or {LINES}.")
    try:
        text = sent.decode("utf-8-sig")
        read = _DECODER.decode(text)
    except (ValueError, RecursionError) as error:
        raise Refusal(400, f"The body is not JSON: {error}") from None
    if isinstance(read, dict) and RECORDS in read:
        return _keyed(read, text)
    start = _filled(text, 0)
    return Body(_lines(text, start) if isinstance(read, list) else _line(text[start:]))


def _keyed(read: dict[str, Any], text: str) -> Body:
    """Return the rows and the key of ``{"key": ..., "records": [...]}``."""
    key = read.get(KEY)
    good = isinstance(read[RECORDS], list) and isinstance(key, str | None)
    if not good or set(read) - {KEY, RECORDS}:
        raise Refusal(400, f"Beside '{RECORDS}', a list, there may only be '{KEY}', a text.")
    places = {name: start for name, start, _ in _parts(text, _filled(text, 0))}
    return Body(_lines(text, places[RECORDS]), key)


def _lines(text: str, start: int) -> bytes:
    """Return the members of a list, as they were written, as lines."""
    return b"\n".join(_line(text[begin:end]) for _, begin, end in _parts(text, start))


def _line(row: str) -> bytes:
    # A line break in JSON stands between its parts only: in a text it is written as an escape.
    return row.replace("\r", " ").replace("\n", " ").encode()


def _parts(text: str, start: int) -> Iterator[tuple[str, int, int]]:
    """Yield the parts of a list or object that is known to be JSON.

    Yields:
        The name of the part, empty in a list, and where its value begins and ends.
    """
    place, named = _filled(text, start + 1), text[start] == "{"
    while text[place] not in "]}":
        name = ""
        if named:
            name, place = _DECODER.raw_decode(text, place)
            place = _filled(text, _filled(text, place) + 1)
        _, end = _DECODER.raw_decode(text, place)
        yield name, place, end
        place = _filled(text, end)
        if text[place] == ",":
            place = _filled(text, place + 1)


def _filled(text: str, place: int) -> int:
    """Return the next place that is not blank."""
    while text[place : place + 1] and text[place] in BLANK:
        place += 1
    return place
