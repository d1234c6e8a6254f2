"""What a forecast's report says first, by the figures of its tanks."""

from datetime import UTC, date, datetime
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl
import pytest

from qa_engine.forecast.demand import Demand
from qa_engine.forecast.outcome import RINSES, TANKS, Forecast
from qa_engine.report.plan_sentences import plan_headline

NOTHING = np.zeros((0, 1))
DEMAND = Demand(np.zeros((0, 2), np.uint64), NOTHING, NOTHING, np.zeros(0), 1)


def says(*tanks):
    """Return the headline for tanks, on Monday 1 June 2026, for 30 days."""
    usual = {"at_limit": False, "litres_left_high": 100.0}
    rows = pl.DataFrame([usual | tank for tank in tanks], schema=TANKS)
    at, zone = datetime(2026, 6, 1, 12, tzinfo=UTC), ZoneInfo("UTC")
    rinses = pl.DataFrame(schema=RINSES)
    found = Forecast(at, zone, 30, rows, rinses, NOTHING, NOTHING, NOTHING, DEMAND)
    return plan_headline(SimpleNamespace(forecast=found, bookings=None))


def tank(name, day=None, **more):
    by = None if day is None else date(2026, 6, day)
    return {"tank": name, "change_by": by, "reached_median": by, **more}


def test_changes_of_the_coming_week_are_named_by_day():
    assert says(tank("T3", 3), tank("T1", 3), tank("T2", 1), tank("T4", 9)) == (
        "Change the resin of T2 today and of T1 and T3 before work on Wednesday 3 Jun 2026. One "
        "more follows, the first T4 before work on 9 Jun 2026."
    )


@pytest.mark.parametrize("why", [None, "begin unknown"])
def test_an_outlet_at_its_limit_comes_first_whatever_else_is_known(why):
    told = says(tank("T1", None if why else 1, at_limit=True, why_not=why))
    assert told.startswith("Of T1 the outlet has reached its limit: change the resin before the")


def test_a_tank_out_of_use_is_not_to_be_changed():
    told = says(tank("T1", at_limit=True, why_not="out of use"))
    assert told == "Of one tank nothing can be foretold."


def test_where_nothing_is_due_it_is_said_until_when():
    assert says(tank("T1"), tank("T2", 20)) == (
        "No resin needs to be changed by 8 Jun 2026. One more follows, the first T2 before work on "
        "20 Jun 2026. One tank needs no change by 1 Jul 2026."
    )


def test_of_no_tank_nothing_can_be_foretold():
    assert says() == "No tank is known, so that there is nothing to foretell."
