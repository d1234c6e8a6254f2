"""Pages of refused rows: mended one by one, left out, or fetched as a file."""

from dataclasses import dataclass
from typing import Any

from flask import Blueprint, Response, abort, flash, redirect, render_template, request, url_for

from qa_engine.book.refusals import count_refused, let_go
from qa_engine.intake import Intake
from qa_engine.web.access import open_to, signed_in
from qa_engine.web.faults import answered
from qa_engine.web.imports.mending import (
    RefusedRow,
    as_csv,
    judged,
    key_of,
    mended,
    row_kept,
    rows_kept,
    still_wrong,
)
from qa_engine.web.language import translated
from qa_engine.web.office import now, office, register

IMPORTERS = ("operator", "administrator")

pages = Blueprint("refusals", __name__)

LAST_LINE = 2**32
"""No file has more; a book could not hold the number."""

SETTLED = "This row was mended or left out already."
TAKEN = "Taken in."
OTHERWISE = (
    "The book has record {record} otherwise: {fields}. If the book is wrong, hand in a file with "
    "this row and say that the file is right; if this row is wrong, mend it or leave it out."
)


@dataclass(frozen=True)
class Answer:
    """A row that was sent and could not be taken: the row as typed, and what is wrong."""

    row: RefusedRow
    says: str = ""


@pages.get("/refused")
@open_to(*IMPORTERS)
def all_refused() -> str:
    """Show refused rows, each as a form."""
    return _page()


@pages.get("/refused.csv")
@open_to(*IMPORTERS)
def fetch() -> Response:
    """Give all refused rows as a file to mend and hand in again."""
    headers = {"Content-Disposition": "attachment; filename=refused.csv"}
    return Response(as_csv(office().book), mimetype="text/csv", headers=headers)


@pages.post("/refused/mended")
@open_to(*IMPORTERS)
def mend() -> Any:
    """Take a mended row in."""
    kept = _kept()
    if kept is None:
        return _settled()
    row = mended(kept, request.form)
    intake = judged(row, register().zone.key)
    if intake.accepted != 1:
        return _page(Answer(still_wrong(row, intake))), 422
    if (says := _add(row, intake)) is not None:
        return _page(Answer(row, says)), 409
    let_go(office().book, *row.told)
    flash(translated(TAKEN))
    return redirect(url_for("imports.refusals.all_refused"), 303)


@pages.post("/refused/left-out")
@open_to(*IMPORTERS)
def leave_out() -> Any:
    """Keep a row no longer that is no record."""
    row = _kept()
    if row is None:
        return _settled()
    let_go(office().book, *row.told)
    return redirect(url_for("imports.refusals.all_refused"), 303)


def _add(row: RefusedRow, intake: Intake) -> str | None:
    """Keep a mended row; return what is wrong if the book has its record otherwise."""
    receipt = office().book.add(
        intake.frames,
        key=key_of(row),
        entered_at=now(),
        entered_by=signed_in().person,
        source=row.source,
    )
    if not receipt.conflicts:
        return None
    one = receipt.conflicts[0]
    says = translated(OTHERWISE)
    return says.format(record=one.record, fields=", ".join(one.fields))


def _kept() -> RefusedRow | None:
    form = request.form
    line = form.get("line", type=int)
    if line is None or not 0 < line < LAST_LINE or "key" not in form or "source" not in form:
        abort(400)
    record = form.get("record") or None
    return row_kept(office().book, form["key"], form["source"], line, record)


def _settled() -> Any:
    return answered(404, translated(SETTLED))


def _page(answer: Answer | None = None) -> str:
    rows = rows_kept(office().book)
    if answer is not None:
        rows = [answer.row, *(row for row in rows if row.told != answer.row.told)]
    return render_template(
        "imports/refused.html", rows=rows, count=count_refused(office().book), answer=answer
    )
