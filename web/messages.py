"""Messages: what was sent to bases and crews, what waits, what was given up and why."""

from datetime import timedelta
from typing import Any

from flask import Blueprint, abort, flash, redirect, render_template, url_for

from qa_engine.messages.outbox import MOST_TRIES, SHOWN
from qa_engine.web.access import open_to
from qa_engine.web.language import translated
from qa_engine.web.office import now, office

pages = Blueprint("messages", __name__, url_prefix="/messages")

SILENT_FOR = timedelta(minutes=15)
"""After so long without a round, whoever should send messages seems not to run."""


@pages.get("")
@open_to("administrator")
def all_messages() -> str:
    """Show the outbox."""
    outbox = office().outbox
    last = outbox.last_round()
    return render_template(
        "messages/messages.html",
        waiting=outbox.waiting(),
        given_up=outbox.given_up(),
        sent=outbox.were_sent(),
        last_round=last,
        silent=last is not None and now() - last > SILENT_FOR,
        most_tries=MOST_TRIES,
        shown=SHOWN,
    )


@pages.post("/<key>/again")
@open_to("administrator")
def send_again(key: str) -> Any:
    """Let a message that was given up be tried anew."""
    if not office().outbox.send_again(key, now()):
        abort(404)
    flash(translated("It waits again and goes out with the next round."))
    return redirect(url_for("messages.all_messages"), 303)
