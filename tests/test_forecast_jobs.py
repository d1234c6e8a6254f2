"""Booked jobs: whether each van gets through, and what would do where it does not."""

from datetime import date

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from polars.testing import assert_frame_equal

from qa_engine.forecast.jobs import NO_TANK, bookings_of

JOB = {"van": "V1", "vehicle_class": "car", "count": 1.0, "job": None}
SCHEMA = {
    "date": pl.Date,
    "van": pl.String,
    "vehicle_class": pl.String,
    "count": pl.Float64,
    "job": pl.String,
    "litres": pl.Float64,
}


def jobs(*rows):
    """A list of jobs, each given as the day of March 2026 and its litres, and perhaps more."""
    return pl.DataFrame(
        [
            {**JOB, "date": date(2026, 3, day), "litres": float(litres), **more}
            for day, litres, more in ((*row, {})[:3] for row in rows)
        ],
        schema=SCHEMA,
    )


@pytest.fixture
def register(fleet_of):
    """A register with tanks that stand behind one another."""
    return fleet_of([], tanks=[{"tank": "T1"}, {"tank": "T2", "after_tank": "T1"}]).register


@pytest.fixture
def plain(fleet_of):
    """A register in which no tank stands behind another."""
    return fleet_of([], tanks=[]).register


def test_a_van_gets_through_in_those_scenarios_that_have_more_left_than_its_jobs_take(
    forecast_of, plain
):
    """100 L and 200 L at 0.004 eq/L take 0.4 and, in all, 1.2 eq.

    Of 0.3, 0.5, 1.2 and 2 eq three are more than 0.4 and one is more than 1.2: a limit that is
    exactly met is reached.
    """
    found = bookings_of(
        forecast_of({"left": [0.3, 0.5, 1.2, 2.0]}), jobs((3, 100), (5, 200)), plain, 0.1
    )
    assert found.jobs["gets_through"].to_list() == [0.75, 0.25]
    assert found.jobs["van_litres"].to_list() == [100, 300]
    assert found.jobs["at_risk"].to_list() == [True, True]
    assert found.first_at_risk["date"].to_list() == [date(2026, 3, 3)]


def test_a_load_of_the_water_is_part_of_each_scenario(forecast_of, plain):
    """100 L take 0.2, 0.4 or 0.8 eq, and 0.5 eq are left: two of three."""
    tank = {"left": 0.5, "load": [0.002, 0.004, 0.008]}
    found = bookings_of(forecast_of(tank), jobs((3, 100)), plain, 0.1)
    assert found.jobs["gets_through"].item() == pytest.approx(2 / 3)


def test_jobs_of_one_day_count_together(forecast_of, plain):
    """Each takes 0.4 eq and 0.6 eq are left: not enough for both, whichever comes first."""
    found = bookings_of(forecast_of({"left": 0.6}), jobs((3, 100), (3, 100)), plain, 0.1)
    assert found.jobs["gets_through"].to_list() == [0, 0]


def test_tanks_side_by_side_share_the_water_as_they_did_of_late(forecast_of, plain):
    """T1 drew 300 of 400 L a day, so 75 of 100 L run through it."""
    forecast = forecast_of(
        {"tank": "T1", "litres_a_day": 300.0, "left": 0.301},
        {"tank": "T2", "litres_a_day": 100.0, "left": 0.101},
    )
    found = bookings_of(forecast, jobs((3, 100), (4, 1)), plain, 0.1)
    assert found.jobs["gets_through"].to_list() == [1, 0]
    assert found.jobs["tank_litres"].to_list() == [75, 75.75]


def test_tanks_that_drew_nothing_of_late_share_alike(forecast_of, plain):
    idle = [{"tank": f"T{n}", "litres_a_day": 0.0} for n in (1, 2, 3, 4)]
    found = bookings_of(forecast_of(*idle), jobs((3, 100)), plain, 0.1)
    assert found.jobs["tank_litres"].item() == 25


def test_all_of_the_water_runs_through_a_tank_that_stands_behind_another(forecast_of, register):
    """T2 gets all 100 L that T1 gets, though its own rinses were never logged: 0.4 of 0.39 eq."""
    forecast = forecast_of(
        {"tank": "T1", "left": 9.0}, {"tank": "T2", "litres_a_day": 0.0, "left": 0.39}
    )
    found = bookings_of(forecast, jobs((3, 100)), register, 0.1)
    row = found.jobs.row(0, named=True)
    assert (row["tank"], row["tank_litres"], row["gets_through"]) == ("T2", 100, 0)


def test_the_chances_of_two_tanks_are_multiplied(forecast_of, register):
    """Each holds in one of two scenarios, and they say nothing of each other: 1/4, not 1/2."""
    forecast = forecast_of({"tank": "T1", "left": [0.1, 9]}, {"tank": "T2", "left": [0.1, 9]})
    found = bookings_of(forecast, jobs((3, 100)), register, 0.1)
    assert found.jobs["gets_through"].item() == 0.25


def test_no_water_runs_through_a_tank_that_is_out_of_use(forecast_of, plain):
    spare = {"tank": "T2", "why_not": "out of use", "left": np.nan}
    found = bookings_of(forecast_of({"tank": "T1"}, spare), jobs((3, 100)), plain, 0.1)
    assert found.jobs["gets_through"].item() == 1
    assert found.jobs["tank_litres"].item() == 100


def test_a_tank_without_a_limit_ends_no_job_of_a_van_that_has_one_with_a_limit(
    forecast_of, register
):
    softener = {"tank": "T1", "why_not": "softening bed", "left": np.nan}
    found = bookings_of(forecast_of(softener, {"tank": "T2"}), jobs((3, 100)), register, 0.1)
    assert found.jobs["tank"].item() == "T2"
    assert found.jobs["gets_through"].item() == 1


def test_a_tank_of_which_nothing_is_known_leaves_its_van_undecided(forecast_of, plain):
    forecast = forecast_of({"tank": "T1"}, {"tank": "T2", "why_not": "no model", "left": np.nan})
    found = bookings_of(forecast, jobs((3, 100)), plain, 0.1)
    row = found.jobs.row(0, named=True)
    assert (row["gets_through"], row["at_risk"]) == (None, None)
    assert (row["tank"], row["why_not"]) == ("T2", "no model")
    assert found.changes.is_empty()


def test_nothing_is_said_of_a_van_without_tanks(forecast_of, plain):
    found = bookings_of(forecast_of({"van": "V2"}), jobs((3, 100)), plain, 0.1)
    assert found.jobs["gets_through"].item() is None
    assert found.jobs["why_not"].item() == NO_TANK


def test_jobs_before_today_are_counted_and_left_aside(forecast_of, plain):
    found = bookings_of(forecast_of({}), jobs((1, 9_000), (2, 100)), plain, 0.1)
    assert found.before_today == 1
    assert found.jobs["van_litres"].to_list() == [100]


def test_a_change_before_the_first_day_at_risk_would_do(forecast_of, plain):
    """At 0.4 eq a day 1 eq lasts two days and a fresh charge of 2.1 eq five more.

    They are the 5th to the 9th; the 10th needs another change.
    """
    days = jobs(*((day, 100) for day in range(3, 11)))
    found = bookings_of(forecast_of({"left": 1.0, "fresh": 2.1}), days, plain, 0.1)
    assert found.changes["before"].to_list() == [date(2026, 3, 5), date(2026, 3, 10)]
    assert found.changes["enough"].to_list() == [True, True]
    assert found.changes["gets_through"].to_list() == [1, 1]
    assert found.changes.row(0, named=True)["resin_volume"] == 20


def test_only_the_weak_tank_is_changed(forecast_of, register):
    forecast = forecast_of({"tank": "T1", "left": 0.5}, {"tank": "T2", "left": 3.0})
    found = bookings_of(forecast, jobs((3, 100), (4, 100)), register, 0.1)
    assert found.changes.select("tank", "before").rows() == [("T1", date(2026, 3, 4))]


def test_a_day_that_asks_for_more_than_a_fresh_charge_says_that_resin_must_go_along(
    forecast_of, plain
):
    """1,500 L take 6 eq; a fresh charge takes 4."""
    found = bookings_of(forecast_of({}), jobs((3, 1_500)), plain, 0.1)
    row = found.changes.row(0, named=True)
    assert (row["enough"], row["gets_through"]) == (False, 0)


def test_a_risk_exactly_met_is_taken(forecast_of, plain):
    """Nine of ten scenarios hold, and a risk of one in ten was asked for."""
    forecast = forecast_of({"left": [0.1] + [2.0] * 9})
    found = bookings_of(forecast, jobs((3, 100)), plain, 0.1)
    assert found.jobs["at_risk"].item() is False


LITRES = st.floats(0, 2_000)
ROWS = st.lists(
    st.tuples(st.integers(2, 20), LITRES, st.sampled_from([{}, {"van": "V2"}])), max_size=8
)
LEFT = st.lists(st.floats(0, 20), min_size=4, max_size=4)


@settings(deadline=None, max_examples=60)
@given(rows=ROWS, more=ROWS, left=st.tuples(LEFT, LEFT, LEFT))
def test_more_jobs_never_raise_the_probability(forecast_of, fleet_of, rows, more, left):
    forecast = forecast_of(
        {"tank": "T1", "left": left[0]},
        {"tank": "T2", "left": left[1]},
        {"tank": "T3", "van": "V2", "left": left[2]},
    )
    register = fleet_of([], tanks=[]).register
    few = bookings_of(forecast, jobs(*rows), register, 0.1).jobs
    many = bookings_of(forecast, jobs(*rows, *more), register, 0.1).jobs
    both = few.select("van", "date", "gets_through").join(many, on=["van", "date"])
    assert both.height >= few.height
    assert (both["gets_through_right"] <= both["gets_through"]).all()


@settings(deadline=None, max_examples=40)
@given(rows=ROWS, left=LEFT, seed=st.randoms(use_true_random=False))
def test_the_order_of_the_list_changes_nothing(forecast_of, fleet_of, rows, left, seed):
    forecast = forecast_of({"tank": "T1", "left": left}, {"tank": "T2", "left": left[::-1]})
    register = fleet_of([], tanks=[]).register
    shuffled = list(rows)
    seed.shuffle(shuffled)
    one, other = (bookings_of(forecast, jobs(*r), register, 0.1) for r in (rows, shuffled))
    assert_frame_equal(one.jobs, other.jobs, check_exact=True)
    assert_frame_equal(one.changes, other.changes, check_exact=True)


@settings(deadline=None, max_examples=40)
@given(rows=ROWS, left=LEFT, fresh=LEFT)
def test_after_the_changes_every_day_is_likely_enough_or_said_not_to_be(
    forecast_of, fleet_of, rows, left, fresh
):
    forecast = forecast_of({"left": left, "fresh": fresh})
    found = bookings_of(forecast, jobs(*rows), fleet_of([], tanks=[]).register, 0.1)
    assert (found.changes["enough"] == (found.changes["gets_through"] >= 0.9 - 1e-9)).all()
    risky = found.first_at_risk.select("van", "date").unique()
    first = found.changes.group_by("van").agg(pl.col("before").min().alias("date"))
    assert_frame_equal(risky.sort("van"), first.sort("van"))
