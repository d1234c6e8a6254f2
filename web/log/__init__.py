"""The log: what a crew did, typed once, judged as soon as it is kept."""

from collections.abc import Mapping
from typing import Any
from uuid import uuid4

import polars as pl
from flask import Blueprint, abort, redirect, render_template, request, url_for

from qa_engine.intake import Intake
from qa_engine.records import KINDS
from qa_engine.web.access import open_to, signed_in
from qa_engine.web.language import translated
from qa_engine.web.log.filling import (
    entries,
    judged,
    local,
    record_id,
    refusals,
    typed_in,
)
from qa_engine.web.log.offers import choices, offered, used_last, van_of
from qa_engine.web.log.sheets import SHEETS
from qa_engine.web.log.verdict import verdict_of
from qa_engine.web.office import now, office, register

pages = Blueprint("log", __name__, url_prefix="/log")

LOGGERS = ("crew", "operator", "administrator")
PLACES = ("tank", "van")
CHANGED = (
    "This form was kept before, with other values. Nothing is changed; save again to log both."
)


@pages.get("")
@open_to(*LOGGERS)
def choose() -> str:
    """Show what can be logged, and for which tank."""
    place = _place(request.args)
    return render_template(
        "log/choose.html", sheets=SHEETS, place=place, tanks=choices("tank"), kinds=KINDS
    )


@pages.get("/<kind>")
@open_to(*LOGGERS)
def form(kind: str) -> str:
    """Show an empty form; only names used last are filled in."""
    if kind not in SHEETS:
        abort(404)
    place = _place(request.args)
    if KINDS[kind].item == "tank" and "tank" not in place:
        return render_template("log/which.html", sheet=SHEETS[kind], tanks=choices("tank"))
    typed = {**used_last(kind, place), **place, "at": local(now())}
    return _form(kind, str(uuid4()), typed, {})


@pages.post("/<kind>")
@open_to(*LOGGERS)
def save(kind: str) -> Any:
    """Keep a filled form, or show it again with what is wrong beside each field."""
    if kind not in SHEETS:
        abort(404)
    key, typed = request.form.get("key", ""), typed_in(kind, request.form)
    intake = judged(kind, key, typed)
    if intake.accepted != 1:
        return _form(kind, key, typed, refusals(intake)), 422
    if not _kept(intake, key):
        return _form(kind, str(uuid4()), typed, {"": translated(CHANGED)}), 409
    return redirect(url_for("log.saved", kind=kind, record=record_id(key)), 303)


@pages.get("/<kind>/<record>")
@open_to(*LOGGERS)
def saved(kind: str, record: str) -> str:
    """Show what the rules say of a record that is kept."""
    if kind not in SHEETS:
        abort(404)
    frame = office().book.frames(kinds=[kind]).get(kind)
    rows = frame.filter(pl.col("record") == record).to_dicts() if frame is not None else []
    if not rows:
        abort(404)
    verdict = verdict_of(rows[0], office().lookout.state(now()))
    return render_template("log/saved.html", sheet=SHEETS[kind], row=rows[0], verdict=verdict)


def _place(given: Mapping[str, str]) -> dict[str, str]:
    """Return the tank and van that an address names; a tank brings its van."""
    place = {name: text for name in PLACES if (text := given.get(name, "").strip())}
    if "tank" in place and "van" not in place and (van := van_of(place["tank"])):
        place["van"] = van
    return place


def _kept(intake: Intake, key: str) -> bool:
    """Keep a record; tell whether the book has it as it was typed."""
    receipt = office().book.add(
        intake.frames,
        key=key,
        entered_at=now(),
        entered_by=signed_in().person,
        source="web",
    )
    return not receipt.conflicts and not office().book.compare(intake.frames).differing


def _form(kind: str, key: str, typed: Mapping[str, str], wrong: Mapping[str, str]) -> str:
    asked = entries(kind, typed, wrong, offered(kind, typed))
    sheet = SHEETS[kind]
    hidden = tuple(name for name in PLACES if typed.get(name) and not asked[name].wrong)
    stray = [text for name, text in wrong.items() if name not in asked]
    return render_template(
        "log/form.html",
        kind=kind,
        key=key,
        sheet=sheet,
        asked=asked,
        hidden=hidden,
        stray=stray,
        zone=register().zone.key,
        wrong=wrong,
        needs_van=KINDS[kind].item == "van",
        more_open=any(typed.get(n) or wrong.get(n) for n in sheet.more if n != "source"),
    )


__all__ = ["pages"]
