"""Import: a file is handed in, its map mended, it is tried, then taken in; refused rows mended."""

from dataclasses import replace
from typing import Any

from flask import Blueprint, flash, redirect, render_template, request, url_for

from qa_engine.errors import ColumnMapError
from qa_engine.intake.column_map.answering import with_answers
from qa_engine.intake.column_map.telling_apart import may_tell_apart, told_apart
from qa_engine.web.access import open_to, signed_in
from qa_engine.web.imports import refusals
from qa_engine.web.imports.counter import (
    choose_page,
    file_page,
    found,
    gone,
    proposed,
    running_page,
    the_desk,
    tidy,
    trial_page,
    with_map,
)
from qa_engine.web.imports.reading import AS_IT_IS, FIELDS, LEFT_OUT, controls, heads
from qa_engine.web.imports.running import TAKING
from qa_engine.web.language import translated
from qa_engine.web.office import now

IMPORTERS = ("operator", "administrator")

pages = Blueprint("imports", __name__, url_prefix="/imports")
pages.register_blueprint(refusals.pages)

CHANGED = "The column map was changed meanwhile. Nothing was taken in: try the file again."
NO_REASON = "Say why the book was wrong: a correction is kept with its reason."
NO_FILE = "Choose a file first."


@pages.get("/")
@open_to(*IMPORTERS)
def choose() -> Any:
    """Show where a file is handed in, and the files that wait."""
    tidy(the_desk().shelf)
    return choose_page()


@pages.post("/")
@open_to(*IMPORTERS)
def hand_in() -> Any:
    """Keep a file and look at it."""
    given = request.files.get("file")
    if given is None or not given.filename:
        return choose_page(translated(NO_FILE)), 422
    desk = the_desk()
    tidy(desk.shelf)
    handed_in = desk.shelf.put(given.filename, given.stream, now(), signed_in().person)
    desk.runs.forget(handed_in.digest)
    if not handed_in.read:
        desk.look_at(handed_in)
    return redirect(url_for("imports.file", digest=handed_in.digest), 303)


@pages.get("/<digest>")
@open_to(*IMPORTERS)
def file(digest: str) -> Any:
    """Show what the columns of a file mean, and what is asked about them."""
    desk = the_desk()
    run = desk.runs.of(digest)
    handed_in = found(desk, digest)
    if run is not None and not run.over:
        return running_page(handed_in, run)
    if not handed_in.read and run is not None and run.error is not None:
        return render_template("imports/unread.html", file=handed_in, says=str(run.error)), 422
    if not handed_in.read:
        desk.look_at(handed_in)
        return redirect(url_for("imports.file", digest=digest))
    return file_page(handed_in)


@pages.post("/<digest>/answers")
@open_to(*IMPORTERS)
def answer(digest: str) -> Any:
    """Write answers into the map."""
    desk = the_desk()
    handed_in = found(desk, digest)
    said = {one.name: request.form.get(f"answer-{one.name}", "") for one in controls(handed_in)}
    return with_map(desk, handed_in, with_answers(handed_in.column_map, said))


@pages.post("/<digest>/records")
@open_to(*IMPORTERS)
def tell_apart(digest: str) -> Any:
    """Write into the map which fields tell one record from another."""
    desk = the_desk()
    handed_in = found(desk, digest)
    said = request.form.getlist("field")
    chosen = [name for name in may_tell_apart(handed_in.column_map) if name in said]
    return with_map(desk, handed_in, told_apart(handed_in.column_map, chosen))


@pages.post("/<digest>/map")
@open_to(*IMPORTERS)
def write_map(digest: str) -> Any:
    """Keep a map that was written by hand."""
    desk = the_desk()
    text = request.form.get("map", "").replace("\r\n", "\n")
    return with_map(desk, found(desk, digest), text, by_hand=True)


@pages.post("/<digest>/columns")
@open_to(*IMPORTERS)
def tell(digest: str) -> Any:
    """Propose the map anew with what was said of columns; answers given before are kept."""
    desk = the_desk()
    handed_in = found(desk, digest)
    told = dict(handed_in.told)
    for head in heads(handed_in.column_map):
        said = request.form.get(f"column-{head}", AS_IT_IS)
        if said in (LEFT_OUT, *FIELDS):
            told[head] = "" if said == LEFT_OUT else said
    return proposed(desk, replace(handed_in, told=told))


@pages.post("/<digest>/proposal")
@open_to(*IMPORTERS)
def propose(digest: str) -> Any:
    """Propose the map anew; what was answered and said is let go."""
    desk = the_desk()
    handed_in = found(desk, digest)
    return proposed(desk, replace(handed_in, column_map="", told={}))


@pages.post("/<digest>/trial")
@open_to(*IMPORTERS)
def try_(digest: str) -> Any:
    """Try a file; nothing is added."""
    desk = the_desk()
    handed_in = found(desk, digest)
    try:
        desk.try_(handed_in, signed_in().person)
    except ColumnMapError as error:
        return file_page(handed_in, error), 422
    return redirect(url_for("imports.trial", digest=digest), 303)


@pages.get("/<digest>/trial")
@open_to(*IMPORTERS)
def trial(digest: str) -> Any:
    """Show what a file would bring."""
    desk = the_desk()
    return trial_page(found(desk, digest), desk.runs.of(digest))


@pages.post("/<digest>/taken")
@open_to(*IMPORTERS)
def take(digest: str) -> Any:
    """Take a file in; the same form sent twice takes it in once."""
    desk = the_desk()
    run = desk.runs.of(digest)
    if run is not None and run.what == TAKING and desk.shelf.find(digest) is None:
        return redirect(url_for("imports.taken", digest=digest), 303)
    handed_in = found(desk, digest)
    if request.form.get("of") != handed_in.map_digest:
        flash(translated(CHANGED))
        return redirect(url_for("imports.file", digest=digest), 303)
    reason = request.form.get("reason", "").strip()
    correct = "correct" in request.form
    if correct and not reason:
        return trial_page(handed_in, run, translated(NO_REASON))
    try:
        desk.take(handed_in, signed_in().person, reason if correct else None)
    except ColumnMapError as error:
        return file_page(handed_in, error), 422
    return redirect(url_for("imports.taken", digest=digest), 303)


@pages.get("/<digest>/taken")
@open_to(*IMPORTERS)
def taken(digest: str) -> Any:
    """Show what became of a file that was taken in."""
    desk = the_desk()
    run, handed_in = desk.runs.of(digest), desk.shelf.find(digest)
    if run is None or run.what != TAKING:
        return gone() if handed_in is None else redirect(url_for("imports.file", digest=digest))
    if not run.over:
        return running_page(handed_in, run)
    status = 200 if run.error is None else 422
    return render_template("imports/taken.html", file=handed_in, run=run), status


@pages.post("/<digest>/removal")
@open_to(*IMPORTERS)
def remove(digest: str) -> Any:
    """Remove a file that is not to be taken in."""
    desk = the_desk()
    if not desk.runs.busy(digest):
        desk.shelf.remove(digest)
        desk.runs.forget(digest)
    return redirect(url_for("imports.choose"), 303)
