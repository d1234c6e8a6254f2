"""A tank through time, by a model of round numbers.

10 L of resin take up 5 eq, known to the hundredth. Of water of 200 mg/L a litre spends 0.002 eq, so
that 500 L, drawn every day at eight, are 1 eq or a fifth of the capacity.
"""

import sys
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from importlib.metadata import EntryPoint
from types import ModuleType

import polars as pl
import pytest

from qa_engine.breakthrough import film_breakthrough
from qa_engine.depletion import Capacity, Grade, Sharpness
from qa_engine.forecast.forecasting import Wish, forecast_by
from qa_engine.forecast.one_tank import through_time
from qa_engine.hookspecs import hookimpl
from qa_engine.inspection import Assignment, with_what_works

AS_OF = datetime(2026, 6, 1, 12, tzinfo=UTC)
GRADE = Grade(
    name="round numbers",
    bed="mixed bed",
    capacity=Capacity(0.5, 0.005, "invented"),
    lowers_tds=True,
    outlet_after_change_mg_l=1.0,
    least_flow_bv_h=8.0,
    greatest_flow_bv_h=40.0,
    flow_source="invented",
    sharpness=Sharpness(20.0, 0.01, "invented"),
)
RULES = """
rule_set: house
title: House
edition: {edition}
in_force: {{from: {begins}}}
owner: standards lead
rules:
  - rule: outlet-below-house-limit
    title: Outlet water below the house limit
    subject: reading
    applies_if: grade == "round numbers"
    requires: outlet_tds < house_limit
    limits: {{house_limit: {{is: {limit} mg/L, basis: invented}}}}
    settled_by: resin_change
    grading: minor
    says: Too much.
    correction: Change the resin.
    examples:
      conforms: [{{grade: round numbers, outlet_tds: 0 mg/L}}]
"""
OLD = RULES.format(edition="2020-01", begins="2020-01-01", limit=30)
NEW = RULES.format(edition="2026-05", begins="2026-05-20", limit=20)


@dataclass(frozen=True)
class RoundNumbers:
    """Spends 0.00001 eq/L for each mg/L."""

    grade: Grade = GRADE

    def load_eq_l(self, water):
        return water.tds_mg_l * 1e-5

    def outlet_mg_l(self, used_fraction, water, flow_bv_h, transfer_units=None):
        units = self.grade.sharpness.transfer_units if transfer_units is None else transfer_units
        return water.tds_mg_l * film_breakthrough(used_fraction, units)


@pytest.fixture(scope="module")
def models():
    module = ModuleType("plugin_round_numbers_again")
    module.qa_resin_models = hookimpl(lambda: [RoundNumbers()])
    module.qa_resin_models.__name__ = "qa_resin_models"
    sys.modules[module.__name__] = module
    yield EntryPoint("round_numbers_again", module.__name__, "qa_engine")
    del sys.modules[module.__name__]


def at(day, hour=8):
    return (AS_OF.replace(hour=hour) + timedelta(days=day)).isoformat()


def instant(day, hour):
    return AS_OF.replace(hour=hour) + timedelta(days=day)


def change(day, grade="round numbers"):
    row = {"kind": "resin_change", "tank": "T1", "at": at(day, 7), "record": f"C{day}"}
    return row | {"change": "emptied and refilled", "grade": grade, "resin_volume": 10.0}


def lived(*changes):
    """A tank rinsed every day for thirty days."""
    inlet = {"kind": "reading", "tank": "T1", "at": at(-30, 6), "inlet_tds": 200.0, "record": "I"}
    rinses = [
        {
            "kind": "rinse",
            "tank": "T1",
            "at": at(day),
            "water_used": 500.0,
            "rinses": 10.0,
            "record": f"R{day}",
        }
        for day in range(-30, 1)
    ]
    return [inlet, *rinses, *changes]


@pytest.fixture
def told(fleet_of, models):
    """Return the maker of a tank through time, of records."""

    def make(*records, rules=(OLD,), tank="T1"):
        fleet = fleet_of(records, zone="UTC", vans=[{"van": "V", "base": "Yard"}])
        task = Assignment(fleet.past.history.frames, fleet.register, AS_OF)
        sources = [(f"{n}.yaml", text.encode()) for n, text in enumerate(rules)]

        def work(course):
            ahead = forecast_by(course, Wish(days=10, risk=0.1))
            past = course.past(course.history)
            since = AS_OF - timedelta(days=20)
            return through_time(tank, past, course.catalogue, ahead, course.editions, since)

        return with_what_works(task, [models], lambda _: sources, work)

    return make


def test_the_share_used_is_told_at_the_change_at_each_days_last_record_and_now(told):
    used = told(*lived(change(-1))).used
    # Changed yesterday at seven; 1 of 5 eq yesterday at eight, another today at eight.
    assert used["at"].to_list() == [instant(-1, 7), instant(-1, 8), instant(0, 8), AS_OF]
    assert used["median"].to_list() == pytest.approx([0, 0.2, 0.4, 0.4], rel=1e-3, abs=1e-9)
    assert used["water"].to_list() == [0, 500, 1000, 1000]


def test_the_band_is_wider_the_more_was_used_and_holds_the_median(told):
    used = told(*lived(change(-1))).used
    width = (used["high"] - used["low"]).to_list()
    assert width == sorted(width)
    assert (used["low"] <= used["median"]).all()
    assert (used["median"] <= used["high"]).all()
    assert width[-1] > 0


def test_what_is_expected_goes_on_from_the_present_day_by_day(told):
    ahead = told(*lived(change(-1))).ahead
    # Today's 500 L are drawn; then a fifth a day.
    assert ahead["day"][0] == AS_OF.date()
    shares = [0.4 + 0.2 * day for day in range(11)]
    assert ahead["median"].to_list() == pytest.approx(shares, rel=0.01)
    assert (ahead["low"] <= ahead["high"]).all()


def test_the_limit_is_that_of_the_edition_in_force_then(told):
    # By 20 May the limit of 30 mg/L became 20 mg/L; twelve days before 1 June.
    limits = told(*lived(change(-25)), rules=(OLD, NEW)).limits
    begun = datetime(2026, 5, 20, tzinfo=UTC)
    assert limits.rows() == [
        (AS_OF - timedelta(days=20), 30.0, "house/outlet-below-house-limit", "2020-01", begun),
        (begun, 20.0, "house/outlet-below-house-limit", "2026-05", AS_OF),
    ]


def test_where_no_rule_sets_a_limit_there_is_a_gap(told):
    # From five to three days ago there is resin in the tank that the rule does not speak of.
    limits = told(*lived(change(-25), change(-5, "other"), change(-3))).limits
    spans = limits.select("since", "until").rows()
    assert spans == [
        (AS_OF - timedelta(days=20), instant(-5, 7)),
        (instant(-3, 7), AS_OF),
    ]


def test_charges_are_told_as_they_ended(told):
    charges = told(*lived(change(-25), change(-5, "other"), change(-1))).charges
    assert charges["charge"].to_list() == ["T1@start", "T1@C-25", "T1@C-5", "T1@C-1"]
    # 20 rinses of 500 L from the 25th day before to the sixth, four, and two up to now.
    assert charges["charge_water"].to_list() == [None, 10_000, 2_000, 1_000]
    assert charges["learnt_used_fraction"][1] == pytest.approx(4.0, rel=0.01)
    assert charges["learnt_used_fraction"][2] is None
    assert charges["ends"].to_list()[1:] == [instant(-5, 7), instant(-1, 7), None]


def test_where_nothing_can_be_foretold_nothing_is(told):
    found = told(*lived(change(-1, "other")))
    assert found.ahead.is_empty()
    assert found.used.is_empty()
    assert found.ahead.schema["median"] == pl.Float64


def test_a_tank_that_nobody_named_is_not_known(told):
    assert told(*lived(change(-1)), tank="T9") is None
