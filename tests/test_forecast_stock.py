"""Resin to have in stock: charges counted scenario by scenario, and sums over tanks."""

from datetime import date
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qa_engine.forecast.stock import MOST_STEPS, charges_needed, stock_of, summed

WEEKS = [date(2026, 3, day) for day in (9, 16, 23, 30)]


def needed(forecast, *ends):
    """The charges of the first tank by the end of some days, a list per day."""
    return charges_needed(forecast, np.array([0]), ends)[0].tolist()


def test_a_charge_is_loaded_when_the_outlet_reaches_its_limit(forecast_of):
    """100 L a day at 0.004 eq/L take 0.4 eq; the 2nd, 3rd and never day take up 0.8, 1.1, 99 eq."""
    forecast = forecast_of({"left": [0.8, 1.1, 99], "fresh": 99})
    assert needed(forecast, 0, 1, 2, 28) == [[0, 0, 0], [1, 0, 0], [1, 1, 0], [1, 1, 0]]


def test_a_tank_may_need_more_than_one_charge(forecast_of):
    """0.4 eq a day: 0.4 eq last through today, then each charge of 0.8 eq two days more."""
    assert needed(forecast_of({"left": 0.4, "fresh": 0.8}), 0, 1, 2, 3, 4, 6) == [
        [1],
        [1],
        [2],
        [2],
        [3],
        [4],
    ]


def test_a_day_may_take_several_charges(forecast_of):
    """1,000 L take 4 eq on the first day: 1 eq, then 2 and 1 of the next two of 2 eq each."""
    assert needed(forecast_of({"left": 1, "fresh": 2, "drawn": 1_000.0}), 0) == [[2]]


def test_resin_that_reached_its_limit_is_changed_even_if_nothing_is_drawn(forecast_of):
    assert needed(forecast_of({"left": 0.0, "drawn": 0.0}), 0, 7) == [[1], [1]]


def test_a_tank_that_never_reaches_its_limit_needs_no_resin(forecast_of):
    assert needed(forecast_of({"left": np.inf, "fresh": np.inf}), 28) == [[0]]


def test_resin_that_lets_too_much_through_from_the_start_is_loaded_once(forecast_of):
    assert needed(forecast_of({"left": 0.0, "fresh": 0.0}), 28) == [[1]]


def test_the_change_recommended_comes_first_where_the_limit_is_reached_later(forecast_of):
    """On the 4th all scenarios change: the first did on the 3rd, by itself."""
    tank = {"left": [0.5, 5.0], "fresh": 99, "change_by": date(2026, 3, 4)}
    assert needed(forecast_of(tank), 0, 1, 2, 28) == [[0, 0], [1, 0], [1, 1], [1, 1]]


def test_what_was_spent_before_the_change_recommended_does_not_count_after_it(forecast_of):
    """Changed on the morning of the 3rd, 0.8 eq last that day and the next."""
    tank = {"left": 9.0, "fresh": 0.8, "change_by": date(2026, 3, 3)}
    assert needed(forecast_of(tank), 0, 1, 2) == [[0], [1], [2]]


def test_litres_of_a_base_and_grade_are_summed_over_its_tanks(forecast_of):
    """Each tank of 20 L needs a charge in one of two scenarios: 0, 20 and 40 L with 1/4, 1/2, 1/4.

    So 20 L suffice with 75 % and 40 L with certainty; the mean is 20 L.
    """
    half = {"left": [0.4, 99], "fresh": 99}
    forecast = forecast_of({"tank": "T1", **half}, {"tank": "T2", **half})
    for level, litres in ((0.25, 0), (0.26, 20), (0.75, 20), (0.76, 40), (0.999, 40)):
        weeks = stock_of(forecast, level).weeks
        assert weeks["until"].to_list() == WEEKS
        assert weeks["litres"].to_list() == [litres] * 4
        assert weeks["litres_mean"].to_list() == [20] * 4
        assert weeks["tanks"].to_list() == [2] * 4


def test_bases_and_grades_are_kept_apart(forecast_of):
    spent = {"left": 0.0, "fresh": 99}
    forecast = forecast_of(
        {"tank": "T1", "base": "north", **spent},
        {"tank": "T2", "base": "south", **spent},
        {"tank": "T3", "base": "south", "grade": "another (invented)", **spent},
        {"tank": "T4", "base": None, "resin_volume": 7.0, **spent},
    )
    rows = stock_of(forecast, 0.9).weeks.filter(until=WEEKS[0]).select("base", "grade", "litres")
    assert rows.rows() == [
        ("north", "standard mixed bed", 20),
        ("south", "another (invented)", 20),
        ("south", "standard mixed bed", 20),
        (None, "standard mixed bed", 7),
    ]


def test_what_cannot_be_counted_is_named(forecast_of):
    forecast = forecast_of(
        {"tank": "T1"},
        {"tank": "T2", "why_not": "no model", "left": np.nan},
        {"tank": "T3", "resin_volume": None},
    )
    found = stock_of(forecast, 0.9)
    assert found.uncounted.select("tank", "why_not").rows() == [
        ("T2", "no model"),
        ("T3", "volume unknown"),
    ]
    assert found.weeks["tanks"].unique().to_list() == [1]


def test_a_forecast_of_less_than_a_week_is_told_to_its_last_day(forecast_of):
    weeks = stock_of(forecast_of({"left": 0.0}, days=3), 0.9).weeks
    assert weeks["until"].to_list() == [date(2026, 3, 5)]


def test_a_fleet_without_a_forecast_needs_nothing_that_could_be_told(forecast_of):
    found = stock_of(forecast_of({"why_not": "no model", "left": np.nan}), 0.9)
    assert found.weeks.is_empty()


VOLUMES = st.lists(st.sampled_from([7.0, 17.85, 20.0, 28.3168]), min_size=1, max_size=3)


@settings(deadline=None, max_examples=50)
@given(volumes=VOLUMES, data=st.data())
def test_the_distribution_of_a_sum_is_that_of_all_pairs_of_scenarios(volumes, data):
    """Every combination of scenarios is as likely as any other; here all are gone through."""
    counts = st.lists(st.integers(0, 3), min_size=4, max_size=4)
    charges = np.array([data.draw(counts) for _ in volumes])
    total = summed(np.array(volumes), charges)
    sums = np.sort([np.dot(volumes, one) for one in product(*charges)])
    assert total.mean_l == pytest.approx(sums.mean())
    for level in (0.1, 0.5, 0.8, 0.95):
        least = sums[int(np.ceil(level * len(sums) - 1e-9)) - 1]
        # Litres are counted in hundredths, each charge rounded up.
        assert least - 1e-9 <= total.quantile_l(level) <= least + 0.01 * charges.sum()


@settings(deadline=None, max_examples=50)
@given(volumes=VOLUMES, levels=st.tuples(st.floats(0, 1), st.floats(0, 1)), data=st.data())
def test_a_higher_service_level_never_asks_for_less(volumes, levels, data):
    counts = st.lists(st.integers(0, 5), min_size=8, max_size=8)
    total = summed(np.array(volumes), np.array([data.draw(counts) for _ in volumes]))
    low, high = sorted(levels)
    assert total.quantile_l(low) <= total.quantile_l(high) <= total.most_l


def test_a_large_fleet_is_summed_in_coarser_steps_and_rounded_up():
    """1,000 tanks of odd volumes, each with 0 or 1 charge: the mean of 20 L each, and the most."""
    volumes = np.linspace(15.003, 24.997, 1_000)
    total = summed(volumes, np.tile([0, 1], (1_000, 1)))
    assert len(total.chance) <= MOST_STEPS + 1_001
    assert total.chance.sum() == pytest.approx(1)
    assert total.mean_l == pytest.approx(10_000)
    # sd of a sum of 1,000 halves of about 20 L: 10 x sqrt(1000) = 316 L; 1.645 of them are 520.
    assert total.quantile_l(0.95) == pytest.approx(10_520, abs=500)
    assert total.quantile_l(0.95) >= 10_520 - 20
    assert volumes.sum() <= total.most_l


@settings(deadline=None, max_examples=30)
@given(
    left=st.lists(st.floats(0, 5), min_size=4, max_size=4),
    fresh=st.floats(0.5, 5),
    more=st.floats(0, 500),
)
def test_more_demand_never_needs_fewer_charges(forecast_of, left, fresh, more):
    tank = {"left": left, "fresh": fresh}
    one, other = (
        charges_needed(forecast_of({**tank, "drawn": drawn}), np.array([0]), [7, 28])
        for drawn in (100.0, 100.0 + more)
    )
    assert (one <= other).all()
