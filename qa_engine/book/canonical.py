"""The canonical form of an entry of the record book, and the digest taken over it.

An entry's canonical form is one JSON text as RFC 8785 (JSON Canonicalization Scheme) writes it,
in UTF-8: members sorted by name, no blanks, numbers in their one shortest form::

    {"body":{...},"id":"R-1","kind":"reading","reason":"...","submission":{...},"supersedes":7}

- ``kind`` and ``id`` say what the entry is; for a record, ``id`` is its record id.
- ``body`` holds, for a record, every other column that has a value: numbers as such in the unit
  of the column, instants as whole microseconds since 1970-01-01T00:00:00Z, days as
  ``"YYYY-MM-DD"``, yes and no as ``true`` and ``false``, words and ids exactly as they were
  given, without normalising Unicode. For any other kind it is the entry's own JSON body.
- ``submission`` says how it came in: ``entered_at`` (microseconds), ``entered_by``, ``key``,
  ``reason``, ``source``.
- ``supersedes`` is the number of the entry that this one corrects; ``reason`` says why.

What has no value is left out, never written as null, so that a kind of record may get a new
column without touching what was written before. The number of an entry is not in its form: its
place is fixed by the Merkle tree (`qa_engine.book.merkle`), whose leaves are the digests. A digest
is the SHA-256 of the form, so ``printf '%s' FORM | sha256sum`` reproduces it.

Two things that the intake never lets in are written so that checking a stored row sees them: minus
zero as ``-0``, and what is no number as ``NaN`` or ``Infinity``.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from hashlib import sha256
from typing import Any

import polars as pl

from qa_engine.book.canonical_json import canonical_json, number_text
from qa_engine.fields import Day, Instant, Quantity, RecordField, YesNo
from qa_engine.records import KINDS

CANONICAL_FORM = 1
"""The version of the form that this module writes; a book says which one it holds."""

ROWS_AT_ONCE = 65_536
PLAIN_FROM, PLAIN_BELOW = 1e-4, 1e15
"""Between these, numbers are written alike by everybody: without exponent [own unit]."""

ESCAPED = r'["\\\x00-\x1f]'
ESCAPES = {chr(c): json.dumps(chr(c))[1:-1] for c in (*range(32), ord('"'), ord("\\"))}
IN_HEAD = ("record", "kind")
"""The columns of a record that stand outside its body."""


@dataclass(frozen=True)
class Submission:
    """How entries came in.

    Attributes:
        key: what the client calls this submission, or the digest of the file.
        entered_at: when the book took it.
        entered_by: the id of the person who entered it.
        source: the file or channel it came from.
        reason: why it was entered, where that needs saying.
    """

    key: str
    entered_at: datetime
    entered_by: str
    source: str | None = None
    reason: str | None = None

    @property
    def text(self) -> str:
        """The submission's part of the canonical form of its entries."""
        return canonical_json(self.members)

    @property
    def members(self) -> dict[str, Any]:
        """What is known of it, by name."""
        return {name: part for name, part in vars(self).items() if part is not None}


def digest_of(
    kind: str,
    id: str,
    body: Mapping[str, Any],
    submission: Submission,
    *,
    supersedes: int | None = None,
    reason: str | None = None,
) -> bytes:
    """Return the digest of one entry.

    Args:
        kind: the kind of entry.
        id: the id of the record, or what the entry is called.
        body: the columns of a record, or the body of another entry.
        submission: how it came in.
        supersedes: the number of the entry that it corrects.
        reason: why it corrects it.
    """
    entry: dict[str, Any] = {"kind": kind, "id": id, "supersedes": supersedes, "reason": reason}
    if kind in KINDS:
        body = {n: v for n, v in body.items() if v is not None and n not in IN_HEAD}
    entry |= {"body": body, "submission": submission.members}
    form = canonical_json({name: part for name, part in entry.items() if part is not None})
    return sha256(form.encode()).digest()


def digests_of(
    frame: pl.DataFrame,
    kind: str,
    submission: Submission | pl.Series,
    *,
    supersedes: pl.Series | None = None,
    reasons: pl.Series | str | None = None,
) -> list[bytes]:
    """Return the digest of every row of a frame of records of one kind, row for row.

    Args:
        frame: the records, typed as the intake gives them or as the book stores them.
        kind: their kind.
        submission: how all of them came in, or the canonical text of each row's submission.
        supersedes: the number of the entry that each row corrects.
        reasons: why it corrects it, for each row or for all.
    """
    digests: list[bytes] = []
    for start in range(0, frame.height, ROWS_AT_ONCE):
        rows = slice(start, start + ROWS_AT_ONCE)
        part = frame[rows]
        texts = entry_texts(
            pl.repeat(kind, part.height, eager=True),
            part["record"],
            record_bodies(part, kind),
            submission if isinstance(submission, Submission) else submission[rows],
            supersedes=None if supersedes is None else supersedes[rows],
            reasons=reasons[rows] if isinstance(reasons, pl.Series) else reasons,
        )
        digests += digests_of_texts(texts)
    return digests


def digests_of_texts(texts: pl.Series) -> list[bytes]:
    """Return the SHA-256 of each text."""
    return [sha256(text).digest() for text in texts.cast(pl.Binary).to_list()]


def entry_texts(
    kinds: pl.Series,
    ids: pl.Series,
    bodies: pl.Series,
    submission: Submission | pl.Series,
    *,
    supersedes: pl.Series | None = None,
    reasons: pl.Series | str | None = None,
) -> pl.Series:
    """Return the canonical form of entries, given the canonical JSON of each body."""
    height = ids.len()
    submitted: pl.Series | str
    submitted = submission.text if isinstance(submission, Submission) else submission
    if isinstance(reasons, str):
        reasons = pl.repeat(reasons, height, dtype=pl.String, eager=True)
    members = {
        "body": bodies,
        "id": _words(ids),
        "kind": _words(kinds),
        "reason": None if reasons is None else _words(reasons),
        "submission": submitted,
        "supersedes": None if supersedes is None else supersedes.cast(pl.String),
    }
    return _objects({name: part for name, part in members.items() if part is not None})


def submission_texts(submissions: pl.DataFrame) -> pl.Series:
    """Return the canonical text of each submission.

    Args:
        submissions: key, entered_at (an instant or microseconds), entered_by, source, reason.
    """
    members = {name: _words(submissions[name]) for name in ("entered_by", "key")}
    members |= {name: _words(submissions[name]) for name in ("reason", "source")}
    members["entered_at"] = _instants(submissions["entered_at"])
    return _objects(dict(sorted(members.items())))


def record_bodies(frame: pl.DataFrame, kind: str) -> pl.Series:
    """Return the canonical JSON of the body of each record of a frame."""
    fields = {n: f for n, f in KINDS[kind].fields.items() if n in frame.columns}
    filled = [n for n in sorted(fields) if n not in IN_HEAD and frame[n].null_count() < len(frame)]
    if not filled:
        return pl.repeat("{}", frame.height, eager=True)
    return _objects({name: _members(frame[name], fields[name]) for name in filled})


def _objects(members: Mapping[str, pl.Series | str]) -> pl.Series:
    """Return a JSON object per row of members that are JSON already; null ones are left out."""
    held = {name: part for name, part in members.items() if isinstance(part, pl.Series)}
    pieces = [
        pl.lit(f',"{name}":') + (pl.col(name) if name in held else pl.lit(members[name]))
        for name in members
    ]
    inner = pl.concat_str(pieces, ignore_nulls=True).str.strip_prefix(",")
    return pl.DataFrame(held).select(text="{" + inner + "}")["text"]


def _members(column: pl.Series, field: RecordField) -> pl.Series:
    match field:
        case Quantity():
            return _numbers(column.cast(pl.Float64))
        case Instant():
            return _instants(column)
        case YesNo():
            return _yes_or_no(column)
        case Day() if column.dtype != pl.String:
            return _days(column)
    return _words(column)


def _words(column: pl.Series) -> pl.Series:
    column = column.cast(pl.String)
    if column.str.contains(ESCAPED).any():
        column = column.str.replace_many(ESCAPES)
    return '"' + column + '"'


def _numbers(column: pl.Series) -> pl.Series:
    text = column.cast(pl.String).str.strip_suffix(".0")
    size = column.abs()
    odd = ((size < PLAIN_FROM) & (size > 0)) | ~(size < PLAIN_BELOW)
    if not odd.any():
        return text
    written = pl.Series([number_text(number) for number in column.filter(odd)])
    return text.scatter(odd.arg_true(), written)


def _instants(column: pl.Series) -> pl.Series:
    if column.dtype == pl.Datetime:
        column = column.dt.epoch("us")
    return column.cast(pl.String)


def _days(column: pl.Series) -> pl.Series:
    """Return days as text; a stored number that is no day of the calendar, as the number."""
    if column.dtype == pl.Date:
        return '"' + column.dt.to_string("%Y-%m-%d") + '"'
    first, last = date(1, 1, 1).toordinal(), date(9999, 12, 31).toordinal()
    shift = date(1970, 1, 1).toordinal()
    good = column.is_between(first - shift, last - shift)
    days = pl.select(pl.when(good).then(column)).to_series().cast(pl.Date)
    return _days(days).zip_with(good.fill_null(value=True), column.cast(pl.String))


def _yes_or_no(column: pl.Series) -> pl.Series:
    """Return yes and no; a stored number that is neither 1 nor 0, as the number."""
    known = {"1": "true", "0": "false", "true": "true", "false": "false"}
    text = column.cast(pl.String)
    return text.replace(known)
