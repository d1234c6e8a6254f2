"""A tank: how it stands and what to do, what is left in it, when it is spent, what was logged."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

import polars as pl
from flask import Blueprint, abort, render_template

from qa_engine.book.lookout import FleetState
from qa_engine.fields import Quantity, RecordField
from qa_engine.forecast.whynot import WHY_NOT
from qa_engine.records import KINDS, TANK_KINDS
from qa_engine.report.jobs import jobs_of
from qa_engine.report.sentences import failing, undecided
from qa_engine.web.access import open_to
from qa_engine.web.accounts import ROLES
from qa_engine.web.office import now, office
from qa_engine.web.outlet_chart import Frames, outlet_chart
from qa_engine.web.shown import amount, day, figure

pages = Blueprint("tanks", __name__, url_prefix="/tanks")

SHOWN_RECORDS = 30
SHOWN_AT_ONCE = 8
SHOWN_FIELDS = 5
COUNTED = ("count", "1")


@dataclass(frozen=True)
class Entry:
    """A record of the history: its row, a few of its fields for reading."""

    row: Mapping[str, Any]
    told: tuple[tuple[str, str], ...]
    more: int


# An id may hold a slash.
@pages.get("/<path:tank>")
@open_to(*ROLES)
def tank(tank: str) -> str:
    """Show a tank."""
    state = office().lookout.state(now())
    known = _row_of(state.tanks, tank)
    if known is None:
        abort(404)
    foretold = _row_of(state.forecast.tanks, tank) or abort(404)
    frames = office().book.frames(items={"tank": [tank], "item": [tank]})
    findings = state.findings.filter(pl.col("stands") & (pl.col("tank") == tank))
    standing = findings.filter(pl.col("permission").is_null())
    return render_template(
        "tanks/tank.html",
        state=state,
        tank=known,
        foretold=foretold,
        why_not=WHY_NOT,
        jobs=jobs_of(failing(standing), state.editions),
        undecided=[_told(row, state) for row in undecided(standing).to_dicts()],
        permitted=findings.filter(pl.col("permission").is_not_null()).to_dicts(),
        rinses=state.forecast.rinses.filter(pl.col("tank") == tank).to_dicts(),
        due=state.due.filter(pl.col("tank") == tank).to_dicts(),
        chart=outlet_chart(frames, foretold, state.as_of.astimezone(state.register.zone)),
        history=_history(frames),
        shown_at_once=SHOWN_AT_ONCE,
        kinds=TANK_KINDS,
    )


def _row_of(frame: pl.DataFrame, tank: str) -> dict[str, Any] | None:
    rows = frame.filter(pl.col("tank") == tank).to_dicts()
    return rows[0] if rows else None


def _told(finding: dict[str, Any], state: FleetState) -> dict[str, Any]:
    """Return an undecided finding with the title of its rule and what each missing fact means."""
    facts = state.inspection.catalogue.facts_of(finding["subject_kind"])
    meanings = {name: facts[name].meaning if name in facts else None for name in finding["missing"]}
    titles = (
        rule.title
        for edition in state.editions
        for rule in edition.rules
        if (edition.rule_set, edition.edition, rule.rule)
        == (finding["rule_set"], finding["edition"], finding["rule"])
    )
    return {**finding, "title": next(titles, finding["rule"]), "meanings": meanings}


def _history(frames: Frames) -> list[Entry]:
    """Return the latest records of all kinds, latest first."""
    latest = [
        row
        for frame in frames.values()
        for row in frame.sort("at", "record").tail(SHOWN_RECORDS).to_dicts()
    ]
    latest.sort(key=lambda row: (row["at"], row["record"]), reverse=True)
    return [_entry(row) for row in latest[:SHOWN_RECORDS]]


def _entry(row: Mapping[str, Any]) -> Entry:
    fields = KINDS[row["kind"]].own_fields
    told = [
        (name, _shown(row[name], field))
        for name, field in fields.items()
        if row.get(name) is not None
    ]
    return Entry(row, tuple(told[:SHOWN_FIELDS]), len(told[SHOWN_FIELDS:]))


def _shown(value: object, field: RecordField) -> str:
    """Return the value of a field for reading, in the reader's units."""
    if isinstance(field, Quantity) and isinstance(value, float):
        return figure(value) if field.unit in COUNTED else amount(value, field.unit)
    if isinstance(value, bool):
        return "yes" if value else "no"
    return day(value) if isinstance(value, date) else str(value)
