"""What the pages of imports have in common: finding a file, showing it, keeping its map."""

from dataclasses import replace
from typing import Any

from flask import abort, redirect, render_template, url_for

from qa_engine.book.refusals import count_refused
from qa_engine.errors import ColumnMapError
from qa_engine.intake import map_of, place_of
from qa_engine.intake.column_map.telling_apart import may_tell_apart, told_apart_by
from qa_engine.intake.grids.opening import SUFFIXES
from qa_engine.web.faults import answered
from qa_engine.web.imports.reading import AS_IT_IS, FIELDS, LEFT_OUT, controls, heads, tables
from qa_engine.web.imports.running import TRYING, Run, runs
from qa_engine.web.imports.shelf import KEPT_FOR, HandedIn, Shelf, shelf_of
from qa_engine.web.imports.work import MAP_NAME, Desk
from qa_engine.web.language import translated
from qa_engine.web.office import now, office, register

GONE = (
    "This file is not here any more: it was taken in, removed, or handed in more than a day ago. "
    "Hand it in again; what the book has already is not added twice."
)


def the_desk() -> Desk:
    """Return the desk of the front end that answers this request."""
    return Desk(office(), register(), shelf_of(office().book), runs())


def found(desk: Desk, digest: str) -> HandedIn:
    """Return a file that is here, or answer that it is not."""
    found = desk.shelf.find(digest)
    if found is None:
        abort(gone())
    return found


def gone() -> Any:
    """Return the answer that a file is not here."""
    return answered(404, translated(GONE))


def tidy(shelf: Shelf) -> None:
    """Remove files that nobody took in for a day."""
    for one in shelf.all():
        if now() - one.at > KEPT_FOR and not runs().busy(one.digest):
            shelf.remove(one.digest)
            runs().forget(one.digest)


def choose_page(says: str = "") -> str:
    """Return the page where files are handed in."""
    return render_template(
        "imports/choose.html",
        waiting=shelf_of(office().book).all(),
        refused=count_refused(office().book),
        suffixes=SUFFIXES,
        largest=office().settings.largest_body // 1_000_000,
        busy=runs().busy,
        says=says,
    )


def running_page(handed_in: HandedIn | None, run: Run) -> str:
    """Return the page of work that goes on."""
    return render_template("imports/running.html", file=handed_in, run=run)


def file_page(
    handed_in: HandedIn,
    wrong: ColumnMapError | None = None,
    text: str = "",
    *,
    by_hand: bool = False,
) -> str:
    """Return the page of a file's map; with what is wrong with it, if something is."""
    shown = text or handed_in.column_map
    return render_template(
        "imports/file.html",
        file=handed_in,
        controls=controls(handed_in),
        tables=tables(handed_in.column_map),
        heads=heads(handed_in.column_map),
        may_tell=may_tell_apart(handed_in.column_map),
        tell=told_apart_by(handed_in.column_map),
        choices=(AS_IT_IS, LEFT_OUT, *FIELDS),
        text=shown,
        problems=wrong.problems if wrong else (),
        edited=bool(text),
        by_hand=by_hand,
    )


def with_map(desk: Desk, handed_in: HandedIn, text: str, *, by_hand: bool = False) -> Any:
    """Keep a map if it can be used, with or without open questions; else say what is wrong."""
    try:
        map_of(MAP_NAME, text.encode("utf-8", "replace"))
    except ColumnMapError as error:
        return file_page(handed_in, error, text, by_hand=by_hand), 422
    if not desk.runs.busy(handed_in.digest):
        desk.shelf.note(replace(handed_in, column_map=text))
        desk.runs.forget(handed_in.digest)
    return redirect(url_for("imports.file", digest=handed_in.digest), 303)


def proposed(desk: Desk, handed_in: HandedIn) -> Any:
    """Have the map of a file proposed anew."""
    if not desk.runs.busy(handed_in.digest):
        desk.shelf.note(replace(handed_in, read=False))
        desk.look_at(handed_in, propose=True)
    return redirect(url_for("imports.file", digest=handed_in.digest), 303)


def trial_page(handed_in: HandedIn, run: Run | None, says: str = "") -> Any:
    """Return the page of what a trial found."""
    if run is not None and not run.over:
        return running_page(handed_in, run)
    if run is None or run.what != TRYING or run.of != handed_in.map_digest:
        return redirect(url_for("imports.file", digest=handed_in.digest))
    if run.error is not None:
        return render_template("imports/unread.html", file=handed_in, says=str(run.error)), 422
    page = render_template(
        "imports/trial.html", file=handed_in, run=run, says=says, place_of=place_of
    )
    return page, 422 if says else 200
