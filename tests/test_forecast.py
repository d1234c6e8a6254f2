"""Forecasts end to end, by a model of round numbers.

10 L of resin take up 5 eq, known to the hundredth. Of water of 200 mg/L a litre spends 0.002 eq.
The outlet is 20 mg/L at T = 1 + (1 + ln 0.1)/20 = 0.9349, which is 4.674 eq or 2,337 L. The tank
gives 500 L every day at eight.
"""

import math
import sys
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from importlib.metadata import EntryPoint
from types import ModuleType

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qa_engine.breakthrough import film_breakthrough
from qa_engine.depletion import Capacity, Grade, Sharpness
from qa_engine.forecast.forecasting import Wish, forecast
from qa_engine.forecast.prices import Prices
from qa_engine.hookspecs import hookimpl
from qa_engine.inspection import Assignment

AS_OF = datetime(2026, 6, 1, 12, tzinfo=UTC)
TODAY = AS_OF.date()
LITRES_TO_LIMIT = (1 + (1 + math.log(0.1)) / 20) * 5 / 0.002

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
edition: 2026-01
in_force: {from: 2020-01-01}
owner: standards lead
rules:
  - rule: outlet-below-house-limit
    title: Outlet water below the house limit
    subject: reading
    applies_if: sampled == "flowing" and not softening_bed
    requires: outlet_tds < house_limit
    limits: {house_limit: {is: 20 mg/L, basis: invented}}
    settled_by: resin_change
    grading: minor
    says: Too much.
    correction: Change the resin.
    examples:
      conforms: [{sampled: flowing, softening_bed: no, outlet_tds: 0 mg/L}]
"""


@dataclass(frozen=True)
class RoundNumbers:
    """Spends 0.00001 eq/L for each mg/L."""

    grade: Grade = GRADE

    def load_eq_l(self, water):
        return water.tds_mg_l * 1e-5

    def outlet_mg_l(self, used_fraction, water, flow_bv_h, transfer_units=None):
        units = self.grade.sharpness.transfer_units if transfer_units is None else transfer_units
        return water.tds_mg_l * film_breakthrough(used_fraction, units)


WIDE = replace(GRADE, name="wide", capacity=Capacity(0.5, 0.1, "invented"))
SOFT = replace(GRADE, name="soft", bed="softening", lowers_tds=False)


@pytest.fixture(scope="module")
def models():
    module = ModuleType("plugin_round_numbers")
    offered = [RoundNumbers(grade) for grade in (GRADE, WIDE, SOFT)]
    module.qa_resin_models = hookimpl(lambda: offered)
    module.qa_resin_models.__name__ = "qa_resin_models"
    sys.modules[module.__name__] = module
    yield EntryPoint("round_numbers", module.__name__, "qa_engine")
    del sys.modules[module.__name__]


def at(day, hour=8):
    return (AS_OF.replace(hour=hour) + timedelta(days=day)).isoformat()


def change(day, tank="T1", hour=7, **more):
    row = {"kind": "resin_change", "tank": tank, "at": at(day, hour), "record": f"C-{tank}-{day}"}
    row |= {"change": "emptied and refilled", "grade": "round numbers", "resin_volume": 10.0}
    return row | more


def inlet(day, tank="T1", **more):
    row = {"kind": "reading", "tank": tank, "at": at(day, 6), "inlet_tds": 200.0}
    return row | {"record": f"I-{tank}-{day}"} | more


def rinse(day, litres=500.0, tank="T1", **more):
    row = {"kind": "rinse", "tank": tank, "at": at(day), "water_used": litres, "rinses": 10.0}
    return row | {"record": f"R-{tank}-{day}"} | more


def lived(tank="T1", first=-30, changed=-1, **more):
    """A tank rinsed every day; its resin was changed before the rinse of the day ``changed``."""
    rinses = [rinse(day, tank=tank) for day in range(first, 1)]
    return [inlet(first, tank), *rinses, change(changed, tank, **more)]


@pytest.fixture
def told(fleet_of, models):
    """Return the maker of forecasts of records."""

    def make(*records, rules=RULES, as_of=AS_OF, blocks=None, zone="UTC", wish=None, **asked):
        classes = [{"vehicle_class": "car", "water_per_rinse": 50.0}]
        tables = {"vehicle_classes": classes, "vans": [{"van": "V", "base": "Yard"}]}
        fleet = fleet_of(records, zone=zone, **tables)
        task = Assignment(fleet.past.history.frames, fleet.register, as_of, blocks=blocks)
        wish = wish or Wish(**({"days": 20, "risk": 0.1} | asked))
        return forecast(task, [models], lambda host: [("house.yaml", rules.encode())], wish)

    return make


def row(found, tank="T1"):
    return found.tanks.row(by_predicate=pl.col("tank") == tank, named=True)


def test_the_limit_is_reached_when_what_is_left_is_drawn(told):
    # Yesterday and today took 1,000 L; 1,337 L are left, give or take 1 %. At 500 L a day that is
    # the third day from now, and the change can wait until its morning.
    found = row(told(*lived()))
    third = TODAY + timedelta(days=3)
    assert [found[f"reached_{end}"] for end in ("low", "median", "high")] == [third] * 3
    assert found["change_by"] == third
    assert found["change_risk"] == 0.0
    assert found["share_within"] == 1.0
    assert found["litres_left_median"] == pytest.approx(LITRES_TO_LIMIT - 1000, rel=0.01)
    assert found["equivalents_left_median"] == pytest.approx(4.674 - 2.0, rel=0.01)
    assert found["litres_a_day"] == 500.0
    assert found["equivalents_a_day"] == pytest.approx(1.0)
    assert (found["limit"], found["limit_rule"]) == (20.0, "house/outlet-below-house-limit")


def test_vehicles_left_are_litres_left_by_the_water_of_their_class(told):
    # 1,337 L / 50 L = 26.7 cars.
    rinses = told(*lived()).rinses.row(0, named=True)
    assert rinses["vehicle_class"] == "car"
    assert rinses["median"] == pytest.approx((LITRES_TO_LIMIT - 1000) / 50, rel=0.01)
    assert rinses["low"] < rinses["median"] < rinses["high"]


def test_a_day_is_the_operator_s(told):
    """At noon UTC it is already tomorrow on Kiritimati, fourteen hours ahead."""
    found = told(*lived(), zone="Pacific/Kiritimati")
    assert found.today == TODAY + timedelta(days=1)
    assert row(found)["reached_median"] >= found.today


def test_what_is_not_within_the_days_asked_for_has_no_day(told):
    found = row(told(*lived(), days=2))
    assert found["why_not"] is None
    assert found["share_within"] == 0.0
    names = ("reached_low", "reached_median", "reached_high", "change_by")
    assert [found[name] for name in names] == [None] * 4


def test_a_reading_at_the_limit_ends_the_charge_whatever_the_model_says(told):
    high = {"kind": "reading", "tank": "T1", "at": at(0, 9), "sampled": "flowing"}
    found = row(told(*lived(), high | {"outlet_tds": 20.0}))
    assert found["reached_median"] == TODAY
    assert found["change_by"] == TODAY
    assert found["change_risk"] == 1.0
    assert found["litres_left_high"] == 0.0


def test_an_outlet_at_its_limit_is_known_even_where_nothing_can_be_foretold(told):
    high = {"kind": "reading", "tank": "T1", "at": at(0, 9), "sampled": "flowing"}
    found = row(told(*lived()[:-1], high | {"outlet_tds": 20.0}))
    assert found["why_not"] == "begin unknown"
    assert found["at_limit"] is True
    assert row(told(*lived()))["at_limit"] is False


def test_a_limit_above_the_inlet_is_never_reached(told):
    soft_water = [inlet(-30, inlet_tds=15.0), *lived()[1:]]
    found = told(*soft_water)
    assert row(found)["share_within"] == 0.0
    assert row(found)["litres_left_median"] is None
    assert any("not expected to reach" in note for note in found.notes)


def test_a_wider_prior_asks_for_an_earlier_change(told):
    # 0.5 +/- 0.1 eq/L: the lower tenth holds some 3.8 eq, a fifth less than the narrow grade.
    records = [*lived(), *lived("T2", grade="wide")]
    found = told(*records)
    assert row(found, "T2")["change_by"] < row(found)["change_by"]
    assert row(found, "T2")["reached_high"] > row(found)["reached_high"]


def test_a_greater_risk_never_asks_for_an_earlier_change(told):
    days = [row(told(*lived(grade="wide"), risk=risk))["change_by"] for risk in (0, 0.1, 0.5, 0.9)]
    assert days == sorted(days)
    assert days[0] < days[-1]


def test_the_risk_that_costs_least_by_hand(told):
    # 10 L at 6 and 40 besides are 100 a change. A fresh charge gives 2,337 L, which is 46.7
    # vehicles of 50 L: 2.14 a vehicle. A call-back costs 40: 2.14/42.14 = 5.1 %.
    found = row(told(*lived(), risk=None, prices=Prices(6.0, 40.0, 40.0, "EUR")))
    each = 100 / (LITRES_TO_LIMIT / 50)
    assert found["least_cost_risk"] == pytest.approx(each / (each + 40), rel=0.01)
    assert found["risk"] == found["least_cost_risk"]
    assert found["least_cost_by"] == found["change_by"]


def test_a_risk_that_is_stated_goes_before_the_one_that_costs_least(told):
    found = row(told(*lived(), risk=0.2, prices=Prices(6.0, 40.0, 40.0)))
    assert found["risk"] == 0.2
    assert found["least_cost_risk"] == pytest.approx(0.051, abs=0.001)


def test_a_risk_that_nobody_stated_is_said_to_be_assumed(told):
    found = told(*lived(), risk=None)
    assert row(found)["risk"] == 0.1
    assert any("a risk of 10 % is assumed" in note for note in found.notes)
    assert not any("assumed" in note for note in told(*lived(), risk=0.1).notes)


def test_without_a_price_of_the_grade_no_risk_is_called_the_cheapest(told):
    found = told(*lived(), risk=None, prices=Prices({"another": 1.0}, 1.0, 1.0))
    assert row(found)["least_cost_risk"] is None
    assert any("price of the grade" in note for note in found.notes)


@pytest.mark.parametrize(
    ("records", "why"),
    [
        ([*lived(), {"kind": "out_of_use", "item": "T1", "at": at(0)}], "out of use"),
        (lived(grade=None), "grade unknown"),
        (lived(grade="soft"), "softening bed"),
        (lived(grade="of no model"), "no model"),
        (lived(resin_volume=None), "volume unknown"),
        (lived()[:-1], "begin unknown"),
        (lived(change=None), "begin unknown"),
        ([*lived(), rinse(0, None, record="R-x", rinses=None)], "use unknown"),
        (lived()[1:], "use unknown"),
        ([inlet(-3), *(rinse(n) for n in (-2, -1, 0)), change(-1)], "few days"),
        ([inlet(-30), change(-30)], "not in demand"),
    ],
)
def test_why_a_tank_has_no_forecast(told, records, why):
    found = told(*records)
    assert row(found)["why_not"] == why
    assert row(found)["change_by"] is None
    assert found.rinses.is_empty()


def test_an_inlet_that_nobody_read_since_a_change_without_rinses_is_unknown(told):
    records = [*(rinse(n) for n in range(-30, -1)), change(0, hour=9)]
    assert row(told(*records))["why_not"] == "inlet unknown"


def test_without_a_rule_that_a_resin_change_settles_no_charge_ends(told):
    found = told(*lived(), rules=RULES.replace("    settled_by: resin_change\n", ""))
    assert row(found)["why_not"] == "no limit"


def test_what_the_capacity_is_known_from_is_said(told):
    read = {"kind": "reading", "sampled": "flowing", "outlet_tds": 0.0, "meter": "M"}
    once = {**read, "tank": "T2", "at": at(-10, 9)}
    own = {**read, "tank": "T3", "at": at(0, 9)}
    records = [*lived(), *lived("T2"), change(-20, "T2"), once, *lived("T3"), own]
    found = told(*records)
    basis = [row(found, tank)["basis"].split(";")[0] for tank in ("T1", "T2", "T3")]
    assert basis == ["its grade alone", "earlier charges of the tank", "its own readings"]
    assert [row(found, tank)["readings"] for tank in ("T1", "T2", "T3")] == [0, 0, 1]


def test_where_the_tank_works_is_told(told):
    found = row(told(*lived(), rinse(0, van="V", record="R-v")))
    assert (found["van"], found["base"]) == ("V", "Yard")


def test_no_tank_gives_an_empty_forecast(told):
    found = told()
    assert found.tanks.is_empty()
    assert found.left_eq.shape[0] == 0


def fleet(seed, tanks=3):
    """Records of tanks that are used unevenly."""
    rng = np.random.default_rng(seed)
    records = []
    for name in (f"T{n}" for n in range(tanks)):
        litres = rng.gamma(0.8, 120, 40).round()
        records += [rinse(n - 39, float(one), name) for n, one in enumerate(litres) if one > 20]
        records += [inlet(-39, name), change(-3, name, grade="wide")]
    return records


def same(one, other):
    assert one.tanks.equals(other.tanks, null_equal=True)
    assert one.rinses.equals(other.rinses, null_equal=True)
    np.testing.assert_array_equal(one.left_eq, other.left_eq)
    np.testing.assert_array_equal(one.demand.litres(), other.demand.litres())


@given(st.integers(0, 2**32), st.integers(1, 4))
@settings(deadline=None, max_examples=8)
def test_order_and_blocks_change_nothing(told_once, seed, blocks):
    records = fleet(seed)
    shuffled = [records[n] for n in np.random.default_rng(seed).permutation(len(records))]
    same(told_once(*records), told_once(*shuffled, blocks=blocks))


@given(st.integers(0, 2**32))
@settings(deadline=None, max_examples=8)
def test_what_comes_later_changes_nothing(told_once, seed):
    later = [rinse(3, 900.0), change(2), inlet(1, inlet_tds=900.0), rinse(1, 50.0, "T9")]
    same(told_once(*fleet(seed)), told_once(*fleet(seed), *later))


@given(st.integers(0, 2**32), st.integers(-39, 0), st.floats(1, 2000))
@settings(deadline=None, max_examples=15)
def test_more_demand_never_means_later(told_once, seed, day, litres):
    # Once more on some day, at an hour at which the tank was already seen.
    more = {**rinse(day, litres, "T1"), "at": at(day, 9), "record": "R-more"}
    before, after = row(told_once(*fleet(seed))), row(told_once(*fleet(seed), more))
    for name in ("reached_low", "reached_median", "reached_high", "change_by"):
        assert (after[name] or date.max) <= (before[name] or date.max), name


@pytest.fixture(scope="module")
def told_once(fleet_of, models):
    def make(*records, blocks=None):
        built = fleet_of(
            records, vehicle_classes=[{"vehicle_class": "car", "water_per_rinse": 50.0}]
        )
        task = Assignment(built.past.history.frames, built.register, AS_OF, blocks=blocks)
        rules = [("house.yaml", RULES.encode())]
        return forecast(task, [models], lambda host: rules, Wish(20, 0.1))

    return make
