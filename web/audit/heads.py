"""Signed tree heads for auditors to take away, and to bring back years later."""

from typing import Any

from flask import Blueprint, Response, abort, json, render_template, request

from qa_engine.audit.wholeness import latest_head
from qa_engine.book.signing import LONGEST_HEAD, SignedHead, read_head
from qa_engine.book.verify import verify
from qa_engine.errors import BookError
from qa_engine.web.access import open_to
from qa_engine.web.audit.roles import READERS
from qa_engine.web.hardening import brake
from qa_engine.web.office import now, office
from qa_engine.wording import rfc3339

pages = Blueprint("heads", __name__, url_prefix="/audit")

BROUGHT = "the file"


@pages.get("/head.json")
@open_to(*READERS)
def head() -> Response:
    """Hand out the latest signed head of the book; 404 if none was signed."""
    found = latest_head(office().book)
    if found is None:
        abort(404)
    return _file(found.text, f"head-of-{found.size}.json")


@pages.get("/verification.json")
@open_to(*READERS)
def verification() -> Response:
    """Verify the book and hand out the result."""
    brake("verify")
    book = office().book
    breaches = verify(book)
    told = {
        "book": book.about()["id"],
        "verified_at": rfc3339(now()),
        "entries": book.size(),
        "root": book.root().hex(),
        "whole": not breaches,
        "breaches": [{"where": one.where, "what": one.what} for one in breaches],
    }
    return _file(json.dumps(told, indent=1, sort_keys=False) + "\n", "verification.json")


@pages.post("/heads")
@open_to(*READERS)
def comparing() -> Any:
    """Verify the book with a signed head that somebody kept; the head is not stored."""
    brake("verify")
    try:
        kept = _brought()
    except BookError as error:
        return render_template("audit/head.html", wrong=str(error)), 422
    book = office().book
    newer = kept.size > book.size()
    breaches = verify(book, [kept])
    return render_template(
        "audit/head.html", kept=kept, breaches=breaches, newer=newer, checked_at=now()
    )


def _brought() -> SignedHead:
    """Return the head in the file that was sent.

    Raises:
        BookError: there is none, or it holds no signed head.
    """
    sent = request.files.get("head")
    if sent is None or not sent.filename:
        raise BookError("no file was sent; choose the signed head that you kept")
    content = sent.read(LONGEST_HEAD + 1)
    try:
        return read_head(content.decode("utf-8-sig"), BROUGHT)
    except UnicodeDecodeError:
        raise BookError(f"{BROUGHT}: is no text in UTF-8, so no signed tree head") from None


def _file(text: str, name: str) -> Response:
    answer = Response(text, content_type="application/json")
    answer.headers.set("Content-Disposition", "attachment", filename=name)
    return answer
