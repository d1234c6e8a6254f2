"""The log: what a crew did, typed once, judged as soon as it is kept."""

from collections.abc import Mapping
from typing import Any
from uuid import uuid4

from flask import Blueprint, abort, jsonify, redirect, render_template, request, url_for

from qa_engine.intake import Intake
from qa_engine.records import KINDS
from qa_engine.web.access import open_to, signed_in
from qa_engine.web.faults import answered
from qa_engine.web.language import translated
from qa_engine.web.log import device
from qa_engine.web.log.device import LOGGERS
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
pages.register_blueprint(device.pages)

PLACES = ("tank", "van")
CHANGED = (
    "This form was kept before, with other values. Nothing is changed; save again to log both."
)
ANOTHERS = "This form was written by {person}; only {person} can send it. Sign in as {person}."


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


@pages.get("/blank/<kind>")
@open_to(*LOGGERS)
def blank(kind: str) -> str:
    """Show a form that a script fills: without network, or to mend one that was kept."""
    if kind not in SHEETS:
        abort(404)
    return _form(kind, "", {}, {}, blank=True)


@pages.post("/<kind>")
@open_to(*LOGGERS)
def save(kind: str) -> Any:
    """Keep a filled form, or show it again with what is wrong beside each field."""
    if kind not in SHEETS:
        abort(404)
    key, person = request.form.get("key", ""), signed_in().person
    if (writer := request.form.get("person", person)) != person:
        return answered(403, translated(ANOTHERS).format(person=writer))
    typed = typed_in(kind, request.form)
    typed |= _place(typed)
    intake = judged(kind, key, typed, request.form.get("units"))
    if intake.accepted != 1:
        return _not_kept(kind, key, typed, refusals(intake), 422)
    if not _kept(intake, key):
        return _not_kept(kind, str(uuid4()), typed, {"": translated(CHANGED)}, 409)
    address = url_for("log.saved", kind=kind, record=record_id(key))
    return (jsonify(address=address), 201) if _asked_by_script() else redirect(address, 303)


@pages.get("/<kind>/<record>")
@open_to(*LOGGERS)
def saved(kind: str, record: str) -> str:
    """Show what the rules say of a record that is kept."""
    if kind not in SHEETS:
        abort(404)
    state = office().lookout.state(now())
    if (frame := state.kept.named([record]).get(kind)) is None:
        abort(404)
    rows = frame.to_dicts()
    verdict = verdict_of(rows[0], state)
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


def _not_kept(
    kind: str, key: str, typed: Mapping[str, str], wrong: Mapping[str, str], status: int
) -> Any:
    if _asked_by_script():
        return jsonify(key=key, wrong=wrong), status
    return _form(kind, key, typed, wrong), status


def _asked_by_script() -> bool:
    return request.accept_mimetypes.best == "application/json"


def _form(
    kind: str,
    key: str,
    typed: Mapping[str, str],
    wrong: Mapping[str, str],
    *,
    blank: bool = False,
) -> str:
    asked = entries(kind, typed, wrong, offered(kind, typed))
    sheet = SHEETS[kind]
    hidden = tuple(name for name in PLACES if typed.get(name) and not asked[name].wrong)
    stray = [text for name, text in wrong.items() if name not in asked]
    return render_template(
        "log/form.html",
        blank=blank,
        kind=kind,
        key=key,
        sheet=sheet,
        asked=asked,
        hidden=hidden,
        stray=stray,
        zone=register().zone.key,
        wrong=wrong,
        item=KINDS[kind].item,
        more_open=any(typed.get(n) or wrong.get(n) for n in sheet.more if n != "source"),
    )


__all__ = ["pages"]
