"""A tank: how it stands and what to do, what is left in it, when it is spent, what was logged."""

from typing import Any

import polars as pl
from flask import Blueprint, abort, render_template

from qa_engine.book.lookout import FleetState
from qa_engine.forecast.whynot import WHY_NOT
from qa_engine.records import TANK_KINDS
from qa_engine.report.jobs import jobs_of
from qa_engine.report.sentences import failing, undecided
from qa_engine.web.access import open_to, signed_in
from qa_engine.web.accounts import ROLES
from qa_engine.web.charts import script_address
from qa_engine.web.office import now, office
from qa_engine.web.tanks import label, pictures, prediction
from qa_engine.web.tanks.records import history_of, outlets_of

pages = Blueprint("tanks", __name__, url_prefix="/tanks")
for part in (pictures, prediction, label):
    pages.register_blueprint(part.pages)

SHOWN_AT_ONCE = 8


# An id may hold a slash.
@pages.get("/<path:tank>")
@open_to(*ROLES)
def tank(tank: str) -> str:
    """Show a tank."""
    state = office().lookout.state(now())
    reader = signed_in()
    name = ("tank", tank, reader.units, reader.language)
    view = state.once(name, lambda: _view(tank, state))
    if view is None:
        abort(404)
    return render_template("tanks/tank.html", **view, script=script_address())


def _view(tank: str, state: FleetState) -> dict[str, Any] | None:
    """Return what the page of a tank tells; None of one that is not there."""
    known, foretold = (_row_of(frame, tank) for frame in (state.tanks, state.forecast.tanks))
    if known is None or foretold is None:
        return None
    frames = state.kept.about({"tank": [tank], "item": [tank]})
    findings = state.findings.filter(pl.col("stands") & (pl.col("tank") == tank))
    standing = findings.filter(pl.col("permission").is_null())
    return {
        "state": state,
        "tank": known,
        "foretold": foretold,
        "why_not": WHY_NOT,
        "jobs": jobs_of(failing(standing), state.editions),
        "undecided": [_told(row, state) for row in undecided(standing).to_dicts()],
        "permitted": findings.filter(pl.col("permission").is_not_null()).to_dicts(),
        "rinses": state.forecast.rinses.filter(pl.col("tank") == tank).to_dicts(),
        "due": state.due.filter(pl.col("tank") == tank).to_dicts(),
        "outlets": outlets_of(frames, state.register, state.as_of),
        "history": history_of(frames),
        "shown_at_once": SHOWN_AT_ONCE,
        "kinds": TANK_KINDS,
    }


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
