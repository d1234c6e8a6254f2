"""Corrections: a record that was logged wrong gets a new version, and the old one stays."""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from itertools import pairwise
from typing import Any

from flask import Blueprint, abort, flash, redirect, render_template, request, url_for
from markupsafe import Markup

from qa_engine.book.replacing import OvertakenError
from qa_engine.book.versions import Version, correct_seen, versions_of
from qa_engine.errors import BookError
from qa_engine.fields import Quantity
from qa_engine.intake import Intake, WrittenFile, read_records
from qa_engine.plain_words import named
from qa_engine.records import KINDS
from qa_engine.units import conversion
from qa_engine.web.access import open_to, signed_in
from qa_engine.web.accounts import UNITS
from qa_engine.web.entering import DIRECTORS, new_key, seen, submission, typed
from qa_engine.web.evidence import told_as
from qa_engine.web.language import translated
from qa_engine.web.log.filling import WITHOUT_UNIT, entries, local, refusals, with_unit
from qa_engine.web.log.verdict import verdict_of
from qa_engine.web.office import now, office, register
from qa_engine.web.shown import readers_unit

pages = Blueprint("corrections", __name__, url_prefix="/corrections")

READERS = (*DIRECTORS, "auditor")
FIXED = ("record", "kind")
"""What no correction changes: another id or kind is another record."""

WHY = "why_wrong"
"""The field of the form that asks for the reason; no field of a record is called so."""

DIGITS = 6
"""With how many digits numbers are filled in; what is left as filled in keeps all it has."""

Text = str | Markup


@dataclass(frozen=True)
class Told:
    """A version of a record and what it changed: the field, before and after, for reading."""

    version: Version
    changes: tuple[tuple[str, Text, Text], ...]


@pages.get("/<path:record>", merge_slashes=False)
@open_to(*READERS)
def one(record: str) -> str:
    """Show a record, what was corrected in it, and the form to correct it."""
    return _page(_versions(record), {}, {})


@pages.post("/<path:record>", merge_slashes=False)
@open_to(*DIRECTORS)
def correcting(record: str) -> Any:
    """Enter a correction, or show the form again with what is wrong beside each field."""
    versions = _versions(record)
    kind, why = versions[-1].kind, typed(WHY)[WHY]
    given = {**typed(*_asked(kind)), WHY: why}
    intake = _read(versions, given)
    wrong = refusals(intake)
    if not why:
        wrong[WHY] = translated("Say why the record was wrong.")
    if wrong:
        return _page(versions, given, wrong), 422
    try:
        receipt = correct_seen(office().book, intake.frames, seen(), submission(why))
    except OvertakenError as error:
        return _page(_versions(record), given, {"": str(error)}), 409
    except BookError as error:
        return _page(versions, given, {"": str(error)}), 422
    if not receipt.entries:
        return _page(versions, given, {"": translated("Nothing is changed in it.")}), 422
    flash(translated("The correction is kept; what the book had stays in it."))
    return redirect(url_for("corrections.one", record=record), 303)


def _versions(record: str) -> tuple[Version, ...]:
    found = versions_of(office().book, record)
    if not found:
        abort(404)
    return found


def _asked(kind: str) -> list[str]:
    return [name for name in KINDS[kind].fields if name not in FIXED]


def _units() -> str:
    """Return the units in which the form was filled in."""
    units = request.form.get("units", signed_in().units)
    return units if units in UNITS else signed_in().units


def _read(versions: tuple[Version, ...], given: Mapping[str, str]) -> Intake:
    """Return what the intake makes of a record with what was changed in the form.

    What stands as it was filled in keeps its exact value, of which the form shows fewer digits.
    """
    before = next((v for v in versions if v.entry == seen()), versions[-1])
    units, kind = _units(), before.kind
    filled = _filled(before, units)
    row: dict[str, Any] = {"record": before.values["record"], "kind": kind}
    for name in _asked(kind):
        if given[name] == filled.get(name, ""):
            row[name] = _written(before.values[name])
        elif given[name]:
            row[name] = with_unit(KINDS[kind].fields[name], given[name], units)
    line = json.dumps({n: v for n, v in row.items() if v is not None}).encode()
    return read_records([WrittenFile("correction.jsonl", line)], time_zone=register().zone.key)


def _written(value: Any) -> Any:
    """Return a value as JSON Lines hold it."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return value.isoformat() if isinstance(value, date) else value


def _filled(version: Version, units: str) -> dict[str, str]:
    """Return a record as the form shows it."""
    fields = KINDS[version.kind].fields
    return {
        name: _shown(version.values[name], fields[name], units)
        for name in _asked(version.kind)
        if version.values[name] is not None
    }


def _shown(value: Any, field: object, units: str) -> str:
    if isinstance(value, datetime):
        return local(value)
    if not isinstance(value, float):
        return str(_written(value))
    if isinstance(field, Quantity) and field.unit not in WITHOUT_UNIT:
        unit = readers_unit(field.unit, units)
        value = value if unit == field.unit else conversion(field.unit, unit).apply(value)
    return f"{value:.{DIGITS}g}"


def _told(versions: tuple[Version, ...]) -> Iterator[Told]:
    """Yield the versions, the latest first, each with what it changed."""
    for before, after in reversed(tuple(pairwise(versions))):
        yield Told(after, tuple(_changes(before, after)))
    yield Told(versions[0], ())


def _changes(before: Version, after: Version) -> Iterator[tuple[str, Text, Text]]:
    fields = KINDS[after.kind].fields
    for name in _asked(after.kind):
        old, new = before.values[name], after.values[name]
        if old != new:
            nothing = translated("nothing")
            field = fields[name]
            yield name, told_as(old, field) or nothing, told_as(new, field) or nothing


def _page(versions: tuple[Version, ...], given: Mapping[str, str], wrong: Mapping[str, str]) -> str:
    latest, state = versions[-1], office().lookout.state(now())
    filled = _filled(latest, signed_in().units)
    fields = entries(latest.kind, given or filled, wrong, {})
    return render_template(
        "corrections/correction.html",
        record=latest.values["record"],
        kind=latest.kind,
        latest=latest,
        asked=[fields[name] for name in _asked(latest.kind)],
        shown=[(n, told_as(latest.values[n], KINDS[latest.kind].fields[n])) for n in filled],
        given=given,
        wrong=wrong,
        stray=[text for name, text in wrong.items() if name not in fields and name != WHY],
        versions=tuple(_told(versions)),
        verdict=verdict_of({**latest.values, "kind": latest.kind}, state),
        may_correct=signed_in().role in DIRECTORS,
        key=new_key(),
        zone=register().zone.key,
        state=state,
        named=named,
    )
