"""Breakthrough curves: laws for any numbers, the way back, and fits to measured points."""

import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qa_engine.breakthrough import (
    BOHART_ADAMS,
    FILM,
    KLINKENBERG,
    LOGISTIC,
    bohart_adams,
    film_breakthrough,
    film_used_fraction,
    fit_curve,
    j_function,
    klinkenberg,
    logistic,
    stoichiometric_throughput,
    thomas,
    thomas_curve,
    thomas_used_fraction,
)
from qa_engine.errors import ModelInputError

CURVES = [
    FILM,
    BOHART_ADAMS,
    LOGISTIC,
    KLINKENBERG,
    *map(thomas_curve, (0.0, 0.2, 1.0, 3.0)),
]
BY_NAME = {"argvalues": CURVES, "ids": [curve.name for curve in CURVES]}
USE = st.floats(0, 50)
UNITS = st.floats(-3, 12).map(lambda log: 10.0**log)
FACTOR = st.floats(0, 5)


@pytest.mark.parametrize("curve", **BY_NAME)
@settings(deadline=None, max_examples=60)
@given(use=st.lists(USE, min_size=2, max_size=2), units=UNITS)
def test_no_curve_overflows_falls_or_leaves_0_to_1_for_any_units(curve, use, units):
    earlier, later = curve.outlet_fraction(sorted(use), units)
    assert 0 <= earlier <= later * (1 + 1e-9) <= 1 + 1e-9


@pytest.mark.parametrize("curve", **BY_NAME)
@settings(deadline=None, max_examples=40)
@given(leak=st.floats(1e-6, 1 - 1e-6), units=st.floats(0.5, 1000))
def test_the_way_back_leads_to_where_one_came_from(curve, leak, units):
    use = curve.used_fraction(leak, units)
    if use == 0:
        assert curve.outlet_fraction(0.0, units) >= leak * (1 - 1e-9)
    else:
        assert curve.outlet_fraction(use, units) == pytest.approx(leak, rel=1e-6)


@pytest.mark.parametrize("curve", **BY_NAME)
def test_arrays_broadcast_and_give_what_one_by_one_gives(curve):
    use, units = np.array([[0.5], [0.9], [1.03]]), np.array([5.0, 30.0])
    found = curve.outlet_fraction(use, units)
    alone = [[float(curve.outlet_fraction(t, n)) for n in units] for t in use[:, 0]]
    np.testing.assert_allclose(found, alone, rtol=1e-13)
    back = curve.used_fraction(found, units)
    np.testing.assert_allclose(back, np.broadcast_to(use, back.shape), rtol=1e-7)


@pytest.mark.parametrize("curve", **BY_NAME)
def test_what_is_unknown_stays_unknown_and_touches_nothing_else(curve):
    nan = np.nan
    found = curve.outlet_fraction([nan, 0.9, 0.9], [10.0, nan, 10.0])
    assert np.isnan(found).tolist() == [True, True, False]
    found = curve.used_fraction([nan, 0.3, 0.3], [10.0, nan, 10.0])
    assert np.isnan(found).tolist() == [True, True, False]


@pytest.mark.parametrize("curve", **BY_NAME)
def test_what_no_bed_can_be_is_refused_by_name(curve):
    with pytest.raises(ModelInputError, match=r"used_fraction is -0\.1"):
        curve.outlet_fraction(-0.1, 10.0)
    with pytest.raises(ModelInputError, match=r"transfer_units is 0\.0"):
        curve.outlet_fraction(0.5, 0.0)
    with pytest.raises(ModelInputError, match=r"outlet_fraction is 1\.2"):
        curve.used_fraction(1.2, 10.0)
    with pytest.raises(ModelInputError, match="outlet_fraction is 0 or 1"):
        curve.used_fraction(1.0, 10.0)


@settings(deadline=None, max_examples=60)
@given(r=st.floats(0, 300), t=st.floats(0, 300))
def test_j_falls_with_r_and_has_its_edges(r, t):
    assert j_function(0, t) == 1
    assert j_function(r, 0) == pytest.approx(np.exp(-r), rel=1e-9, abs=1e-300)
    assert 0 <= j_function(r + 1, t) <= j_function(r, t) <= 1


@pytest.mark.parametrize(("r", "t"), [(1e-10, 170.0), (1e-10, 1e9), (1e9, 1e-10), (1e12, 1e12)])
def test_j_is_there_where_a_chi_square_overflows_or_vanishes(r, t):
    expected = 0.5 if r == t else float(r < t)
    assert j_function(r, t) == pytest.approx(expected, abs=1e-6)


@settings(deadline=None, max_examples=40)
@given(use=st.floats(0, 5), units=st.floats(0.01, 40), factor=FACTOR)
def test_thomas_is_the_formula_of_the_books_where_that_can_be_reckoned(use, units, factor):
    """J(RN, NT) / {J(RN, NT) + [1 - J(N, RNT)] exp[(R - 1) N (T - 1)]}."""
    left = j_function(factor * units, units * use)
    right = 1 - j_function(units, factor * units * use)
    plain = left / (left + right * np.exp((factor - 1) * units * (use - 1)))
    # 1 - J keeps only as many digits as it is large.
    unsure = 1e-12 / max(float(right), 1e-300)
    if unsure < 1e-3:
        assert thomas(use, units, factor) == pytest.approx(plain, rel=1e-8 + 3 * unsure, abs=1e-14)


@settings(deadline=None, max_examples=40)
@given(use=st.floats(0, 5), units=UNITS)
def test_thomas_runs_from_bohart_adams_to_j(use, units):
    assert thomas(use, units, 0.0) == pytest.approx(bohart_adams(use, units), rel=1e-9, abs=1e-300)
    if units < 1e5:
        linear = float(j_function(units, units * use))
        assert thomas(use, units, 1.0) == pytest.approx(linear, rel=1e-8, abs=1e-290)


def test_a_bed_of_countless_units_is_a_step_or_the_equilibrium():
    """N of 1e12: a step at T = 1, unless equilibrium itself spreads the front, as for R = 3.

    Then X = (R - sqrt(R/T))/(R - 1) between T = 1/R and R: (3 - sqrt 3)/2 = 0.633975 at T = 1.
    """
    for curve in (bohart_adams, logistic, film_breakthrough, klinkenberg):
        np.testing.assert_allclose(curve([0.99, 1.01], 1e12), [0, 1], atol=1e-12)
    np.testing.assert_allclose(thomas([0.99, 1.01], 1e12, 0.5), [0, 1], atol=1e-12)
    np.testing.assert_allclose(thomas([0.3, 1.0, 3.1], 1e12, 3.0), [0, 0.633975, 1], atol=1e-6)


def test_film_leakage_of_a_fresh_bed_is_already_there():
    """exp(-5) = 0.006738: a leakage of 0.001 is passed from the first litre on."""
    assert film_used_fraction(0.001, 5.0) == 0.0
    assert film_used_fraction(0.01, 5.0) == pytest.approx(1 + (1 + np.log(0.01)) / 5)


def test_the_way_back_through_thomas_is_quick_enough_for_a_grid():
    leak, units = np.meshgrid([0.01, 0.05, 0.5], np.geomspace(1, 1e6, 9))
    use = thomas_used_fraction(leak, units, 0.5)
    assert use.shape == (9, 3)
    np.testing.assert_allclose(thomas(use, units, 0.5)[use > 0], leak[use > 0], rtol=1e-6)


def points(curve, stoichiometric, units, noise, seed, count=25):
    rng = np.random.default_rng(seed)
    through = np.linspace(0.05, 1.5, count) * stoichiometric
    outlet = curve.outlet_fraction(through / stoichiometric, units) + rng.normal(0, noise, count)
    return through, np.maximum(outlet, 0.0)


@pytest.mark.parametrize("curve", **BY_NAME)
def test_a_fit_finds_what_points_on_a_curve_were_made_of(curve):
    fit = fit_curve(curve, *points(curve, 3000.0, 15.0, 0.0, 0))
    assert fit.stoichiometric.value == pytest.approx(3000.0, rel=1e-4)
    assert fit.transfer_units.value == pytest.approx(15.0, rel=1e-3)
    assert fit.rmse < 1e-5


def test_intervals_hold_the_truth_about_as_often_as_they_say():
    """200 runs at 90 %: 180 expected, 167 to 191 with a chance of 99 %."""
    rng = np.random.default_rng(11)
    through = np.linspace(28.0, 60.0, 25)  # from T = 0.7 on nothing is cut off at zero
    truth = LOGISTIC.outlet_fraction(through / 40.0, 10.0)
    inside = np.zeros(2)
    for _ in range(200):
        fit = fit_curve(LOGISTIC, through, truth + rng.normal(0, 0.01, 25), confidence=0.9)
        inside += [
            fit.stoichiometric.low < 40.0 < fit.stoichiometric.high,
            fit.transfer_units.low < 10.0 < fit.transfer_units.high,
        ]
    assert np.all((inside >= 167) & (inside <= 191))


def test_more_scatter_and_more_confidence_widen_an_interval():
    def width(noise, confidence):
        fit = fit_curve(LOGISTIC, *points(LOGISTIC, 40.0, 20.0, noise, 7), confidence=confidence)
        return fit.transfer_units.high / fit.transfer_units.low

    assert 1 < width(0.005, 0.9) < width(0.02, 0.9) < width(0.02, 0.99)


def test_points_that_do_not_tell_the_units_leave_them_open():
    """Two zeros and a one: every sharp front fits."""
    fit = fit_curve(LOGISTIC, [1.0, 2.0, 3.0], [0.0, 0.0, 1.0])
    assert fit.transfer_units.low < 10 < 1000 < fit.transfer_units.high


def test_points_with_a_gap_are_fitted_without_it():
    through, outlet = points(FILM, 40.0, 12.0, 0.005, 1)
    whole = fit_curve(FILM, through, outlet)
    gappy = fit_curve(FILM, [*through, 99.0], [*outlet, np.nan])
    assert gappy == whole


@pytest.mark.parametrize(
    ("through", "outlet", "said"),
    [
        ([1, 2], [0.1, 0.5], "2 points are known; expected 3 or more"),
        ([1, 2, 3], [0.1, np.nan, 0.5], "2 points are known"),
        ([1, 3, 2], [0.1, 0.2, 0.5], "sort the points"),
        ([1, 2, 3], [0.2, 0.2, 0.2], "expected it to rise"),
        ([1, 2, 3], [0.2, 0.2], "other shapes"),
        ([1, 2, 3], [-0.2, 0.2, 0.3], r"outlet_fraction is -0\.2"),
    ],
)
def test_points_that_cannot_be_fitted_are_refused_with_the_reason(through, outlet, said):
    with pytest.raises(ModelInputError, match=said):
        fit_curve(LOGISTIC, through, outlet)


def test_a_confidence_of_95_is_not_a_probability():
    with pytest.raises(ModelInputError, match="confidence is 95"):
        fit_curve(LOGISTIC, [1, 2, 3], [0.1, 0.2, 0.5], confidence=95)


def test_stoichiometric_throughput_of_a_straight_rise():
    """0 up to 10, then a straight line to 1 at 20: 10 + 10/2 = 15."""
    assert stoichiometric_throughput([5, 10, 20], [0.0, 0.0, 1.0]) == pytest.approx(15.0)


def test_the_irreversible_curves_come_without_the_heavy_library():
    """A model that needs but them loads quickly, and so does the list of commands."""
    code = (
        "import sys, qa_engine.breakthrough as b, qa_engine.plugins.mixed_bed, qa_engine.cli;"
        "b.film_breakthrough(0.9, 20), b.logistic(0.9, 20), b.bohart_adams(0.9, 20);"
        "print([n for n in ('scipy.special', 'scipy.stats', 'scipy.optimize') if n in sys.modules])"
    )
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert told.stdout.strip() == "[]"
