"""The risk that costs least, by hand and against what costs least when tried."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qa_engine.forecast.prices import Prices, critical_ratio, least_cost_risk
from qa_engine.forecast.quantiles import day_of_risk, ends_of, share_before


def test_the_risk_is_the_share_of_a_rinse_too_early():
    # A change of 100 over 50 rinses is 2 a rinse; a call-back costs 38: 2/(2 + 38) = 5 %.
    risk = least_cost_risk(np.array([100.0]), np.array([50.0]), 38.0)
    assert risk == pytest.approx([0.05])


def test_the_dearer_a_call_back_the_smaller_the_risk():
    risks = [least_cost_risk(np.array([100.0]), np.array([50.0]), c)[0] for c in (2.0, 18.0, 198.0)]
    assert risks == pytest.approx([0.5, 0.1, 0.01])


def test_without_costs_or_rinses_no_risk_costs_least():
    assert np.isnan(critical_ratio(0.0, 0.0))
    assert np.isnan(least_cost_risk(np.array([100.0]), np.array([np.nan]), 10.0)).all()


def test_resin_is_priced_by_grade_where_prices_say_so():
    by_grade = Prices({"pale": 5.0}, 1.0, 1.0)
    assert by_grade.of_resin("pale") == 5.0
    assert np.isnan(by_grade.of_resin("dark"))
    assert Prices(6.0, 1.0, 1.0).of_resin("dark") == 6.0


@given(st.floats(0.5, 50), st.floats(0.5, 50), st.integers(0, 2**32))
@settings(deadline=None, max_examples=40)
def test_no_other_day_costs_less_than_that_of_the_critical_ratio(early, late, seed):
    """Days of 50 scenarios; a day too early or too late costs its price, and all days are tried."""
    days = np.sort(np.random.default_rng(seed).integers(0, 60, (1, 50)), axis=1)
    chosen = day_of_risk(days, np.atleast_1d(critical_ratio(early, late)))[0]

    def cost(day):
        return (early * np.maximum(days - day, 0) + late * np.maximum(day - days, 0)).mean()

    assert cost(chosen) <= min(cost(day) for day in range(61)) + 1e-9


def test_the_day_of_a_risk_is_the_last_one_before_which_no_more_is_over():
    # Ten scenarios on days 1 to 10: before day 3 two are over, before day 4 three.
    days = np.arange(1, 11).reshape(1, -1)
    assert day_of_risk(days, np.array([0.2])).tolist() == [3]
    assert day_of_risk(days, np.array([0.19])).tolist() == [2]
    assert day_of_risk(days, np.array([0.0])).tolist() == [1]
    assert share_before(days, np.array([3])).tolist() == [0.2]


def test_ends_of_intervals_lie_among_the_scenarios_and_have_no_end_where_these_have_none():
    # 100 scenarios: the place of a share p is 100 p - 0.5, counted from 0: 9.5, 49.5 and 89.5.
    scenarios = np.stack([np.arange(100.0), np.where(np.arange(100) < 60, 1.0, np.inf)])
    found = ends_of(scenarios)
    assert found[0].tolist() == [9.5, 49.5, 89.5]
    np.testing.assert_array_equal(found[1], [1.0, 1.0, np.nan])
