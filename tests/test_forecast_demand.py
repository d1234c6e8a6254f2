"""Demand: which past days stand for which coming ones, and what the season makes of them."""

from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qa_engine.facts.past import Past
from qa_engine.forecast.demand import Demand
from qa_engine.forecast.draws import BITS, drawn, seeds_of
from qa_engine.forecast.past_days import LONGEST, RECENT, YEAR, PastDays, past_days
from qa_engine.forecast.quantiles import day_of_share, day_reached

AS_OF = datetime(2026, 6, 1, 12, tzinfo=UTC)
SCENARIOS = 256


def demand(past_l, days=14, today_l=None, tanks=None):
    past_l = np.atleast_2d(np.asarray(past_l, float))
    names = tanks or [f"T{n}" for n in range(len(past_l))]
    seeds = np.stack([seeds_of(names, purpose) for purpose in ("weights", "days")], axis=1)
    season = np.ones((len(past_l), 1 + days))
    today = np.zeros(len(past_l)) if today_l is None else np.asarray(today_l, float)
    return Demand(seeds, past_l, season, today, SCENARIOS)


def weekly(*litres):
    """Past days of which each weekday is always the same, that of today first."""
    return np.tile(np.array(litres, float), RECENT // 7)


def test_a_tank_that_always_gives_the_same_is_asked_for_the_same():
    assert (demand(np.full(RECENT, 40.0)).litres() == 40.0).all()


def test_what_was_drawn_today_is_taken_off_today_and_never_more_than_that():
    litres = demand(np.full((2, RECENT), 40.0), today_l=[30.0, 90.0]).litres()
    assert (litres[0, 0] == 10.0).all()
    assert (litres[1, 0] == 0.0).all()
    assert (litres[:, 1:] == 40.0).all()


def test_a_weekday_is_mostly_like_itself_and_now_and_then_like_any_day():
    # 12 such weekdays stand against one day of any sort: of 13 draws 12 are the weekday's own, and
    # of the other one in 7 too. So 1/13 x 6/7 = 6.6 % of its days are 0.
    litres = demand(np.tile(weekly(700, 0, 0, 0, 0, 0, 0), (40, 1)), days=27).litres()
    own, others = litres[:, ::7], litres[:, 1::7]
    assert (own == 0).mean() == pytest.approx(6 / 91, abs=0.01)
    assert (others == 700).mean() == pytest.approx(1 / 91, abs=0.004)


def test_the_mean_of_the_draws_is_that_of_the_past_days_zero_days_in_it():
    # Two days in seven of 210 L: a mean of 60 L a day.
    litres = demand(np.tile(weekly(210, 0, 0, 210, 0, 0, 0), (40, 1)), days=27).litres()
    assert litres.mean() == pytest.approx(60.0, rel=0.02)


def test_days_that_say_nothing_are_never_drawn():
    past_l = np.where(np.arange(RECENT) % 2 == 0, np.nan, 50.0)
    assert (demand(past_l).litres() == 50.0).all()


def test_a_tank_without_a_known_day_is_asked_for_nobody_knows_what():
    litres = demand(np.stack([np.full(RECENT, np.nan), np.full(RECENT, 1.0)])).litres()
    assert np.isnan(litres[0]).all()
    assert (litres[1] == 1.0).all()


def test_the_draws_of_a_tank_do_not_hang_on_its_place():
    """The same tank alone, among others, and asked for in part."""
    rng = np.random.default_rng(3)
    past_l = rng.gamma(0.5, 100, (5, RECENT))
    names = list("abcde")
    together = demand(past_l, tanks=names)
    alone = demand(past_l[3], tanks=["d"]).litres()
    np.testing.assert_array_equal(together.litres()[3], alone[0])
    np.testing.assert_array_equal(together.litres(np.array([4, 3]))[1], alone[0])


def test_drawn_numbers_fill_their_range_evenly():
    share = drawn(seeds_of(["a", "b"], "days"), 5000) / 2.0**BITS
    counts = np.histogram(share, bins=10, range=(0, 1))[0]
    assert counts == pytest.approx(np.full(10, 1000), abs=150)


def test_ids_and_purposes_have_seeds_of_their_own():
    found = [*seeds_of(["a", "b"], "days"), *seeds_of(["a", "b"], "weights")]
    assert len(set(found)) == 4


@given(st.integers(0, RECENT - 1), st.floats(0.0, 500.0), st.integers(0, 2**32))
@settings(deadline=None, max_examples=25)
def test_more_on_a_past_day_is_never_less_on_a_coming_one(day, more, seed):
    past_l = np.random.default_rng(seed).gamma(0.5, 100, RECENT)
    greater = past_l.copy()
    greater[day] += more
    assert (demand(greater).litres() >= demand(past_l).litres()).all()


def test_eight_intervals_of_ten_hold_the_day_on_which_the_water_runs_out():
    """Days of 400 invented tanks, five working days a week, drawn anew after the forecast."""
    rng = np.random.default_rng(11)
    rate = rng.gamma(4.0, 1.0, (400, 1)) * np.array([1, 1, 1, 1, 1, 0, 0])
    days = 120

    def lived(weeks):
        return rng.poisson(np.tile(rate, weeks)) * rng.gamma(8.0, 8.0, (400, 7 * weeks))

    left = np.full((400, SCENARIOS), 2000.0)
    asked = demand(lived(RECENT // 7), days=days).litres()
    ordered = np.sort(day_reached(left, asked), axis=1)
    low, high = day_of_share(ordered, 0.1), day_of_share(ordered, 0.9)
    true = day_reached(left[:, :1], lived(18)[:, : days + 1, np.newaxis])[:, 0]
    assert 0.75 <= ((low <= true) & (true <= high)).mean() <= 0.90


def years(recent=10.0, before=10.0, around=10.0, first=0):
    """Days of last year's counterpart, of the time that comes, and of this year's recent days."""
    litres = np.full((1, LONGEST), around)
    litres[:, : LONGEST - YEAR] = before
    litres[:, -RECENT:] = recent
    litres[:, :first] = np.nan
    return PastDays(litres, np.zeros(1), np.full(1, np.nan), np.zeros(1))


def test_the_season_of_last_year_is_counted_in():
    # Of days 85 to 448 ago, 84 gave 10 L and 280 gave 30 L: a mean of 9240/364 = 25.38 L. Last
    # year's counterpart with 14 such days: (84 x 10 + 14 x 25.38)/98 = 12.198 L; a month ahead
    # (43 x 30 + 14 x 25.38)/57 = 28.866 L.
    factors, known = years(before=10.0, around=30.0).season(60)
    assert known.tolist() == [True]
    assert factors[0, 30] == pytest.approx(28.866 / 12.198, rel=1e-4)


def test_a_season_is_told_by_last_year_alone():
    once, more = years(10.0, 10.0, 30.0), years(50.0, 10.0, 30.0)
    np.testing.assert_array_equal(once.season(60)[0], more.season(60)[0])


def test_without_four_weeks_of_last_year_s_counterpart_no_season_is_told():
    # 28 of its 84 days are needed: the first 56 may be missing.
    assert years(around=30.0, first=56).season(5)[1].tolist() == [True]
    factors, known = years(around=30.0, first=57).season(5)
    assert known.tolist() == [False]
    assert (factors == 1.0).all()


def day(number, hour=8):
    return (AS_OF - timedelta(days=-number)).replace(hour=hour).isoformat()


def rinse(number, litres, tank="T1", **more):
    row = {"kind": "rinse", "tank": tank, "at": day(number), "water_used": litres, "rinses": 1.0}
    return row | more


def told(fleet, *tanks):
    past = Past(fleet.past.history, {}, AS_OF)
    return past_days(pl.Series(tanks), pl.Series([None] * len(tanks), dtype=pl.Float64), past)


def test_past_days_are_those_of_the_operator(fleet_of):
    # 23:30 UTC on the day before is half past twelve of this one in Paris.
    records = [rinse(-3, 5.0), rinse(-2, 7.0), {**rinse(0, 9.0), "at": "2026-05-31T23:30:00+00:00"}]
    found = told(fleet_of(records, zone="Europe/Paris"), "T1")
    assert found.litres[0, -4:].tolist()[1:] == [5.0, 7.0, 0.0]
    assert np.isnan(found.litres[0, -4])
    assert found.today_l.tolist() == [9.0]


def test_rinses_of_a_day_add_up_and_a_day_with_an_unknown_one_says_nothing(fleet_of):
    records = [rinse(-3, 5.0), rinse(-2, 7.0), rinse(-2, 8.0), rinse(-1, 4.0), rinse(-1, None)]
    found = told(fleet_of(records), "T1")
    assert found.litres[0, -3:-1].tolist() == [5.0, 15.0]
    assert np.isnan(found.litres[0, -1])


def test_days_out_of_use_say_nothing_of_demand(fleet_of):
    records = [
        rinse(-6, 5.0),
        {"kind": "out_of_use", "item": "T1", "at": day(-5)},
        {"kind": "return_to_use", "item": "T1", "at": day(-3)},
        rinse(-2, 6.0),
    ]
    found = told(fleet_of(records), "T1")
    np.testing.assert_array_equal(found.litres[0, -6:], [5.0, np.nan, np.nan, 0.0, 6.0, 0.0])


def test_the_water_of_a_vehicle_is_that_of_rinses_whose_vehicles_were_counted(fleet_of):
    # 100 L for two, 200 L for three; 900 L for nobody knows how many: 300/5 = 60 L.
    records = [rinse(-3, 100.0, rinses=2.0), rinse(-2, 200.0, rinses=3.0)]
    found = told(fleet_of([*records, rinse(-1, 900.0, rinses=None)]), "T1", "T2")
    assert found.litres_a_rinse[0] == 60.0
    assert np.isnan(found.litres_a_rinse[1])
