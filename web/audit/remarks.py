"""What auditors enter: remarks on findings, rules and periods, and the heads that they keep."""

from typing import Any

from flask import Blueprint, flash, redirect, render_template, request, url_for

from qa_engine.audit import enter_remark
from qa_engine.audit.remarks import HEAD_KEPT, SORTS
from qa_engine.errors import AuditError
from qa_engine.web.access import open_to
from qa_engine.web.audit.roles import WRITER
from qa_engine.web.entering import new_key, submission, typed
from qa_engine.web.language import translated
from qa_engine.web.office import office

pages = Blueprint("remarks", __name__, url_prefix="/audit/remarks")

FIELDS = ("sort", "about", "text", "first", "last", "root")


@pages.get("/new")
@open_to(WRITER)
def new() -> str:
    """Show the form for a remark; the address may say what it is about."""
    return _form({name: request.args.get(name, "") for name in FIELDS})


@pages.post("")
@open_to(WRITER)
def remarking() -> Any:
    """Enter a remark, or that a head is kept."""
    given = typed(*FIELDS)
    body: dict[str, Any] = {**given, "size": request.form.get("size", type=int)}
    try:
        made = enter_remark(office().book, body, submission())
    except AuditError as error:
        return _form(given, str(error)), 422
    flash(translated("{entry} is kept. It stays in the book as it is.").format(entry=made))
    return redirect(url_for("audit.overview"), 303)


def _form(given: dict[str, str], wrong: str | None = None) -> str:
    sorts = [sort for sort in SORTS if sort != HEAD_KEPT]
    return render_template(
        "audit/remark.html", given=given, wrong=wrong, sorts=sorts, key=new_key()
    )
