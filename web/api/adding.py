"""Adding records: through the door of all records, all of them or none, once only."""

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

import polars as pl
from flask import request

from qa_engine.book.submission import Conflict, Receipt
from qa_engine.errors import IntakeError
from qa_engine.fields import LONGEST_ID
from qa_engine.intake import Intake, WrittenFile, read_records
from qa_engine.web.access import signed_in
from qa_engine.web.api.bodies import body_of
from qa_engine.web.api.calls import Call, Question, call
from qa_engine.web.api.problems import address_of
from qa_engine.web.api.receipts import ReceiptTold, told
from qa_engine.web.faults import Refusal
from qa_engine.web.office import now, office, register

KEY = "Idempotency-Key"
SOURCE = "sent.jsonl"
NEW, KNOWN = 201, 200
Frames = Mapping[str, pl.DataFrame]


@call(
    "/records",
    Call(ReceiptTold, given=(NEW, KNOWN), refuses=(400, 409, 413, 415), adds=True),
    roles=("crew", "operator", "administrator"),
    scope="add records",
)
def add_records(asked: Question) -> tuple[dict[str, Any], int]:
    """Add records: one, a list of them, or JSON Lines; all are taken or none."""
    body = body_of(request.get_data(), request.mimetype)
    key = _key(request.headers.get(KEY), body.key)
    frames = _taken(body.lines)
    receipt = office().book.receipt(key)
    if receipt is None:
        receipt = _added(frames, key)
    if receipt.known:
        _check_same(frames, receipt)
    return told(receipt, key), NEW if receipt.entries and not receipt.known else KNOWN


def _key(header: str | None, in_body: str | None) -> str:
    """Return the one key that came with the records."""
    keys = {key.strip().strip('"') for key in (header, in_body) if key is not None}
    says = (
        f"Send one key of your own with the records, such as a UUID: in the header {KEY}, or as "
        f"'key' beside 'records'; 1 to {LONGEST_ID} printable characters. The same key with the "
        "same records adds nothing twice."
    )
    if len(keys) != 1:
        raise Refusal(400, says)
    (key,) = keys
    if not key or not key.isprintable() or len(key) > LONGEST_ID:
        raise Refusal(400, says)
    return key


def _taken(lines: bytes) -> Frames:
    """Return what the intake makes of the rows.

    Raises:
        Refusal: it refuses one, or there is none.
    """
    if not lines.strip():
        raise Refusal(422, "There is no record in the body.", address_of("records-refused"))
    try:
        intake = read_records([WrittenFile(SOURCE, lines)], time_zone=register().zone.key)
    except IntakeError as error:
        raise Refusal(422, str(error), address_of("records-refused")) from None
    if intake.refused_rows:
        says = f"{intake.refused_rows} of {intake.read} records cannot be taken; none was added."
        raise Refusal(422, says, address_of("records-refused"), list(_pieces(intake)))
    return intake.frames


def _pieces(intake: Intake) -> Iterator[dict[str, Any]]:
    for row in intake.refused.iter_rows(named=True):
        names = ("record", "field", "written", "expected")
        yield {"row": row["line"], **{name: row[name] for name in names}}


def _added(frames: Frames, key: str) -> Receipt:
    """Add records that the book does not have otherwise.

    Raises:
        Refusal: it has one of them otherwise.
    """
    book = office().book
    if conflicts := book.compare(frames).conflicts():
        raise _differing(conflicts, "none was added")
    person = signed_in().person
    receipt = book.add(frames, key=key, entered_at=now(), entered_by=person, source="api")
    if receipt.conflicts:  # another program was faster, between the question and the answer
        raise _differing(receipt.conflicts, f"{receipt.entries} others were added")
    return receipt


def _check_same(frames: Frames, receipt: Receipt) -> None:
    """Refuse a key that came in with other records; what was corrected since is no matter."""
    compared = office().book.compare(frames)
    mine = range(receipt.first_entry, receipt.first_entry + receipt.entries)
    altered = any(one.entry in mine for one in compared.conflicts())
    if compared.new or altered:
        says = "This key came in before with other records; nothing was added. Send a new key."
        raise Refusal(409, says, address_of("key-used"))


def _differing(conflicts: Iterable[Conflict], what: str) -> Refusal:
    says = f"The book has some of these records otherwise; {what}."
    pieces = [
        {
            "row": None,
            "record": one.record,
            "field": field,
            "written": None,
            "expected": f"as in entry {one.entry} of the book, or a correction",
        }
        for one in conflicts
        for field in one.fields
    ]
    return Refusal(409, says, address_of("records-differ"), pieces)
