"""The log without a network: what a phone keeps, and what it asks when the network is back.

Forms are kept by scripts under ``static/``; ``log_worker.js`` opens the log's pages from copies
that hold no record. Both rest on what stands here: whose forms may be sent, and by what token.
"""

from pathlib import Path
from typing import Any

from flask import Blueprint, current_app, jsonify, render_template, url_for
from flask_wtf.csrf import generate_csrf
from werkzeug.wrappers import Response

from qa_engine.web.access import ANYONE, open_to, signed_in, who
from qa_engine.web.log.sheets import SHEETS

LOGGERS = ("crew", "operator", "administrator")
WORKER = "log_worker.js"
FILES = (
    "look.css",
    "mark.svg",
    "log.webmanifest",
    "copies.js",
    "device.js",
    "kept.js",
    "sending.js",
    "log_choose.js",
    "log_form.js",
    "log_waiting.js",
)
"""The static files without which the log's pages do not open."""

pages = Blueprint("device", __name__)


@pages.get("/worker.js")
@open_to(ANYONE)
def worker() -> Response:
    """Return the script that stands between the log's pages and the network."""
    script = Path(current_app.static_folder or "", WORKER).read_text(encoding="utf-8")
    answer = Response(script, content_type="text/javascript; charset=utf-8")
    # Without it a worker rules only what lies below its own folder, and not the log's first page.
    answer.headers["Service-Worker-Allowed"] = url_for("log.choose")
    return answer


@pages.get("/device")
@open_to(*LOGGERS)
def known() -> Response:
    """Tell a script who is signed in, a token for its forms, and the pages to keep copies of."""
    return jsonify(person=signed_in().person, token=generate_csrf(), copies=_copies())


@pages.get("/waiting")
@open_to(*LOGGERS)
def waiting() -> str:
    """Show what this device keeps that has not been sent or whose verdict has not been read."""
    return render_template("log/waiting.html")


@pages.app_context_processor
def _device() -> dict[str, Any]:
    reader = who()
    return {"may_log": reader is not None and reader.role in LOGGERS}


def _copies() -> list[str]:
    blanks = [url_for("log.blank", kind=kind) for kind in SHEETS]
    files = [url_for("static", filename=name) for name in FILES]
    return [url_for("log.choose"), url_for("log.device.waiting"), *blanks, *files]
