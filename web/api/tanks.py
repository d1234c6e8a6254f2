"""Tanks: how each stands, worst first, and all that is known of one."""

from typing import Any

import polars as pl
from flask import abort
from marshmallow import fields
from marshmallow.validate import Length

from qa_engine.fields import LONGEST_ID
from qa_engine.forecast.outcome import RINSES, TANKS
from qa_engine.web.api.answers import Answer, Moment, schema_of
from qa_engine.web.api.calls import Call, Question, call
from qa_engine.web.api.due import Duty
from qa_engine.web.api.facts import Known, facts_of_tank
from qa_engine.web.api.paging import AsOf, Paged, PageOf, page_of
from qa_engine.web.board import Choice, standing, worst_first
from qa_engine.web.office import now, office

FORETOLD = {
    "resin_volume": "The resin in it, in L.",
    "limit": "The outlet TDS that ends the charge, in mg/L.",
    "at_limit": "Whether the last outlet reading of the charge has reached the limit.",
    "load": "What a litre of the last inlet water spends, in eq/L.",
    "equivalents_left_low": "Until the outlet reaches the limit, in eq; 10 % end.",
    "equivalents_left_median": "The same, in eq; 50 %.",
    "equivalents_left_high": "The same, in eq; 90 % end.",
    "litres_left_low": "Until the outlet reaches the limit, in L; 10 % end.",
    "litres_left_median": "The same, in L; 50 %.",
    "litres_left_high": "The same, in L; 90 % end.",
    "litres_a_day": "Mean demand, in L.",
    "equivalents_a_day": "Mean demand, in eq.",
    "litres_a_rinse": "Mean water of a vehicle, in L.",
    "reached_low": "The day on which the outlet reaches the limit; 10 % end.",
    "reached_median": "The same; 50 %.",
    "reached_high": "The same; 90 % end.",
    "share_within": "The probability that it is reached within the days looked at, from 0 to 1.",
    "risk": "The risk asked for, from 0 to 1.",
    "change_by": "The last day on whose morning the resin can be changed at that risk.",
    "why_not": "Why there is no forecast; null if there is one.",
}
Foretold = schema_of("Forecast", TANKS, FORETOLD, ("tank",))
RinsesLeft = schema_of(
    "RinsesLeft",
    RINSES,
    {
        "water_per_rinse": "In L.",
        "low": "Vehicles left; 10 % end.",
        "median": "50 %.",
        "high": "90 % end.",
    },
    ("tank", "vehicle_class"),
)


def _text(meaning: str) -> fields.String:
    return fields.String(validate=Length(max=LONGEST_ID), metadata={"description": meaning})


def _share(end: str) -> fields.Float:
    told = f"Share of the capacity that is left, from 0 to 1; {end}."
    return fields.Float(allow_none=True, metadata={"description": told})


class TanksAsked(Paged):
    """Which tanks are wanted."""

    base = _text("Only tanks that work from this base.")
    van = _text("Only tanks of this van.")


class Tank(Answer):
    """How a tank stands."""

    tank = fields.String()
    van = fields.String(allow_none=True)
    base = fields.String(allow_none=True)
    grade = fields.String(allow_none=True, metadata={"description": "Of the resin in it."})
    out_of_use = fields.Boolean(allow_none=True)
    charge_since = Moment(allow_none=True, metadata={"description": "When its charge began."})
    last_outlet = fields.Float(
        allow_none=True, metadata={"description": "The last outlet reading, in mg/L."}
    )
    last_outlet_at = Moment(allow_none=True)
    left_low = _share("10 % end")
    left_median = _share("50 %")
    left_high = _share("90 % end")
    limit = fields.Float(
        allow_none=True, metadata={"description": "The outlet TDS that ends the charge, in mg/L."}
    )
    at_limit = fields.Boolean(allow_none=True)
    reached_low = fields.Date(allow_none=True)
    reached_median = fields.Date(allow_none=True)
    reached_high = fields.Date(allow_none=True)
    change_by = fields.Date(allow_none=True)
    why_not = fields.String(allow_none=True, metadata={"description": "Why no forecast."})
    major = fields.Integer(metadata={"description": "How many major findings stand."})
    minor = fields.Integer(metadata={"description": "How many minor findings stand."})
    advice = fields.Integer(metadata={"description": "How many pieces of advice stand."})
    undecided = fields.Integer(metadata={"description": "How many rules could not be decided."})
    falls_due = fields.Date(allow_none=True, metadata={"description": "The next duty's day."})


class Tanks(PageOf):
    """A page of tanks, those with the worst findings first."""

    tanks = fields.List(fields.Nested(Tank))


class TankKnown(AsOf):
    """All that is known of one tank."""

    tank = fields.Nested(Tank)
    facts = fields.List(fields.Nested(Known))
    forecast = fields.Nested(Foretold, allow_none=True)
    rinses_left = fields.List(fields.Nested(RinsesLeft))
    due = fields.List(fields.Nested(Duty))


@call("/tanks", Call(Tanks, TanksAsked))
def tanks(asked: Question) -> dict[str, Any]:
    """Read how every tank stands, the worst first."""
    state = office().lookout.state(now())
    choice = Choice(asked.get("base"), asked.get("van"), None)
    rows = worst_first(choice, state, standing(state))
    page = page_of(rows, pl.col("tank"), asked)
    return {**page.told(state), "tanks": page.rows.to_dicts()}


@call("/tanks/<path:tank>", Call(TankKnown, refuses=(404,)))
def tank(asked: Question, tank: str) -> dict[str, Any]:
    """Read all that is known of one tank: facts, forecast, what falls due."""
    state = office().lookout.state(now())
    mine = pl.col("tank") == tank
    everything = Choice(None, None, None)
    rows = worst_first(everything, state, standing(state)).filter(mine).to_dicts()
    if not rows:
        abort(404)
    forecast = state.forecast.tanks.filter(mine).to_dicts()
    return {
        "as_of": state.as_of,
        "entries": state.entries,
        "tank": rows[0],
        "facts": facts_of_tank(tank, state),
        "forecast": forecast[0] if forecast else None,
        "rinses_left": state.forecast.rinses.filter(mine).to_dicts(),
        "due": state.due.filter(mine).to_dicts(),
    }
