"""Breakthrough curves against forty digits, independent numerical solutions and pilot data."""

import mpmath
import numpy as np
import pytest
from scipy.stats import ncx2

from qa_engine.breakthrough import (
    FILM,
    LOGISTIC,
    bohart_adams,
    film_breakthrough,
    film_used_fraction,
    fit_curve,
    j_function,
    klinkenberg,
    logistic,
    logistic_used_fraction,
    stoichiometric_throughput,
    thomas,
)

J_TABLE = [
    (1, 1, 0.654254161277),
    (1, 2, 0.817415225070),
    (2, 1, 0.394296858892),
    (5, 2, 0.168568913530),
    (2, 5, 0.913934477600),
    (5, 5, 0.563916668582),
    (10, 5, 0.119793752316),
    (10, 10, 0.544890155942),
    (10, 15, 0.865779832004),
    (20, 12, 0.0908531447376),
    (20, 20, 0.531639139938),
    (20, 30, 0.932278319959),
    (50, 40, 0.157981265898),
    (50, 60, 0.841895951025),
    (100, 80, 0.0727479863332),
    (100, 120, 0.916758307088),
]


def j_to_forty_digits(r, t):
    """The defining integral, 1 - int_0^r exp(-t - x) I0(2 sqrt(tx)) dx."""
    with mpmath.workdps(40):
        density = lambda x: mpmath.exp(-t - x) * mpmath.besseli(0, 2 * mpmath.sqrt(t * x))  # noqa: E731
        return 1 - mpmath.quad(density, mpmath.linspace(0, r, 9))


@pytest.mark.parametrize(("r", "t", "expected"), J_TABLE)
def test_b01_to_b05_the_j_function_to_twelve_digits(r, t, expected):
    assert j_function(r, t) == pytest.approx(expected, abs=1e-10)


@pytest.mark.parametrize(("r", "t"), [(0.3, 2.5), (5, 2), (20, 20), (60, 45)])
def test_the_j_function_is_its_defining_integral(r, t):
    assert j_function(r, t) == pytest.approx(float(j_to_forty_digits(r, t)), abs=1e-12)


def test_the_j_function_is_the_tail_of_the_non_central_chi_square_distribution():
    r, t = np.meshgrid([0.01, 0.5, 3, 20, 100], [0.02, 0.7, 3, 25, 90, 140])
    np.testing.assert_allclose(j_function(r, t), ncx2.sf(2 * r, 2, 2 * t), rtol=1e-11)


def test_b06_j_and_its_mirror_exceed_one_by_a_bessel_function():
    """e^-7 I0(2 sqrt 10) = 0.08250339113."""
    excess = j_function(5, 2) + j_function(2, 5) - 1
    assert excess == pytest.approx(0.08250339113, abs=1e-10)
    with mpmath.workdps(30):
        bessel = mpmath.exp(-7) * mpmath.besseli(0, 2 * mpmath.sqrt(10))
    assert excess == pytest.approx(float(bessel), abs=1e-13)


@pytest.mark.parametrize(("least", "error"), [(5.0, 0.00111), (2.0, 0.0048)])
def test_b07_klinkenberg_is_as_near_to_j_as_it_is_said_to_be(least, error):
    n, t = np.meshgrid(np.geomspace(least, 500, 90), np.geomspace(least, 500, 90))
    farthest = np.abs(klinkenberg(t / n, n) - j_function(n, t)).max()
    assert 0.7 * error < farthest <= error


@pytest.mark.parametrize(
    ("separation_factor", "units", "expected"),
    [
        (0, 10, [0.017987, 0.119208, 0.500011, 0.880802, 0.982015]),
        (0.1, 10, [0.026322, 0.141696, 0.500378, 0.858511, 0.973516]),
        (0.5, 10, [0.086186, 0.247909, 0.512571, 0.764657, 0.909292]),
        (1, 10, [0.189435, 0.362097, 0.544890, 0.703492, 0.821940]),
        (2, 10, [0.351169, 0.491807, 0.604013, 0.692762, 0.763267]),
        (0.5, 20, [0.012758, 0.109910, 0.503502, 0.889906]),
    ],
)
def test_b08_the_general_curve_of_thomas(separation_factor, units, expected):
    used = [0.6, 0.8, 1.0, 1.2, 1.4][: len(expected)]
    found = thomas(used, units, separation_factor)
    np.testing.assert_allclose(found, expected, atol=2e-6)


def test_b09_thomas_at_a_separation_factor_of_one_is_j():
    assert thomas(1.2, 20, 1) == pytest.approx(0.751574, abs=2e-6)
    assert thomas(1.2, 20, 1) == pytest.approx(float(j_function(20, 24)), abs=1e-13)


def test_b10_thomas_for_irreversible_exchange_is_bohart_adams():
    assert thomas(0.8, 10, 0) == pytest.approx(0.119208, abs=2e-6)
    used = np.linspace(0, 3, 31)
    np.testing.assert_allclose(thomas(used, 10, 0), bohart_adams(used, 10), rtol=1e-12)


def test_b11_bohart_adams_is_not_the_logistic_curve_where_units_are_few():
    """N = 2: e^2/(e^2 + e^2 - 1) = 7.389056/13.778112 = 0.536289; T = 0: 1/e^2 = 0.135335."""
    exact = [0.135335, 0.298472, 0.536289, 0.758672]
    used = [0.0, 0.5, 1.0, 1.5]
    np.testing.assert_allclose(bohart_adams(used, 2), exact, atol=1e-6)
    np.testing.assert_allclose(logistic(used, 2), [0.119203, 0.268941, 0.5, 0.731059], atol=1e-6)
    # From N = 5 on they differ by less than e^-N.
    used = np.linspace(0, 3, 301)
    for units in (5.0, 10.0, 20.0):
        apart = np.abs(bohart_adams(used, units) - logistic(used, units))
        assert apart.max() < np.exp(-units)


def test_b12_film_control():
    """exp(20 (T - 1) - 1): exp(-3), exp(-1), exp(-0.6), 1."""
    found = film_breakthrough([0.9, 1.0, 1.02, 1.05], 20)
    np.testing.assert_allclose(found, [0.049787, 0.367879, 0.548812, 1.0], atol=1e-6)


def test_b13_break_points_under_film_control():
    """1 + (1 + ln 0.05)/20 = 1 - 1.995732/20 = 0.900213; 1 - 3.605170/20 = 0.819741."""
    found = film_used_fraction([0.05, 0.01], 20)
    np.testing.assert_allclose(found, [0.900213, 0.819741], atol=1e-6)


def test_b14_break_point_on_the_logistic_curve():
    """1 + ln(0.05/0.95)/20 = 1 - 2.944439/20."""
    assert logistic_used_fraction(0.05, 20) == pytest.approx(0.852778, abs=1e-6)


@pytest.mark.parametrize(
    ("curve", "reach"),
    [
        (lambda t: film_breakthrough(t, 20), 2),
        (lambda t: film_breakthrough(t, 3), 3),
        (lambda t: bohart_adams(t, 4), 12),
        (lambda t: thomas(t, 10, 0.3), 6),
        (lambda t: thomas(t, 10, 1), 12),
        (lambda t: thomas(t, 10, 2), 60),
    ],
)
def test_b15_what_is_held_back_is_the_capacity(curve, reach):
    """The area above the curve, from the balance of equivalents, is 1 for every curve."""
    used = np.linspace(0, reach, 40_001)
    assert np.trapezoid(1 - curve(used), used) == pytest.approx(1.0, abs=1e-4)


def column_by_finite_differences(separation_factor, units, wanted, cells=300, step=2e-3):
    """Solve the column itself: du/dz = -N [(1 - q) u - R q (1 - u)], dq/dT = -du/dz.

    At each T the water profile u is a linear equation in z for the loading q as it is, solved by
    the trapezoidal rule; the loading is then stepped on by Heun's rule. No closed form is used.
    """
    half = units / cells / 2

    def water(q):
        rate, back = half * (1 - q + separation_factor * q), half * separation_factor * q
        kept = np.append(1.0, np.cumprod((1 - rate[:-1]) / (1 + rate[1:])))
        gained = (back[:-1] + back[1:]) / (1 + rate[1:]) / kept[1:]
        return kept * (1 + np.append(0.0, np.cumsum(gained)))

    def uptake(q):
        u = water(q)
        return units * ((1 - q) * u - separation_factor * q * (1 - u))

    q, outlet = np.zeros(cells + 1), {}
    for number in range(1, round(wanted[-1] / step) + 1):
        first = uptake(q)
        q = q + step / 2 * (first + uptake(q + step * first))
        outlet[number] = water(q)[-1]
    return [outlet[round(used / step)] for used in wanted]


@pytest.mark.parametrize("separation_factor", [0.0, 0.5, 1.0, 2.0])
def test_thomas_is_what_the_column_does(separation_factor):
    wanted = [0.6, 0.8, 1.0, 1.2, 1.4]
    column = column_by_finite_differences(separation_factor, 10.0, wanted)
    np.testing.assert_allclose(thomas(wanted, 10, separation_factor), column, atol=3e-5)


def test_film_control_is_what_a_column_does_whose_layers_fill_one_after_the_other():
    """Each of 2000 layers takes its share of what reaches it until it is full; N = 8."""
    layers, units, step = 2000, 8.0, 1 / 4000
    loading, used, found = np.zeros(layers), [], []
    for number in range(round(1.2 / step)):
        passed = np.exp(-units / layers * np.append(0, np.cumsum(loading < 1)))
        used.append((number + 0.5) * step)
        found.append(passed[-1])
        loading = np.minimum(loading + step * layers * -np.diff(passed), 1.0)
    np.testing.assert_allclose(film_breakthrough(used, units), found, atol=4e-3)


# M. L. Davis, Water and Wastewater Engineering (2010), Problem 8-2, p. 8-26: a pilot softening
# column of 10 cm by 150 cm, 10.224 meq/L of hardness (444.5 + 66.7 mg/L as CaCO3, 50 g/eq).
PILOT_M3 = [
    0.5, 1.0, 1.5, 2.0, 2.1, 3.0, 3.5, 4.0, 4.5, 5.0, 5.35,
    5.45, 5.5, 5.6, 5.7, 5.8, 5.9, 6.0, 6.4, 7.0, 7.5,
]  # fmt: skip
PILOT_MEQ_L = [
    0.0, 0.0, 0.0, 0.0, 0.05, 0.46, 1.05, 2.0, 3.2, 4.9, 6.0,
    6.4, 6.7, 7.0, 7.4, 7.8, 8.2, 8.5, 9.0, 9.7, 10.0,
]  # fmt: skip
PILOT = np.array(PILOT_MEQ_L) / 10.224
PILOT_BED_L = 11.781


def test_b16_stoichiometric_throughput_of_the_pilot_column():
    """7.5 m3 less 25.387 eq / 10.224 meq/L = 7.5 - 2.4831 = 5.0169 m3, 425.8 bed volumes."""
    found = stoichiometric_throughput(PILOT_M3, PILOT)
    assert found == pytest.approx(5.0169, abs=1e-3)
    assert 1000 * found / PILOT_BED_L == pytest.approx(425.8, abs=0.1)
    # 5.0169 m3 x 10.224 meq/L / 11.781 L: more than any real resin holds, so arithmetic only.
    assert found * 10.224 / PILOT_BED_L == pytest.approx(4.354, abs=1e-3)


def test_b17_logistic_curve_through_the_pilot_column():
    fit = fit_curve(LOGISTIC, PILOT_M3, PILOT)
    assert fit.stoichiometric.value == pytest.approx(5.046, abs=0.02)
    assert fit.transfer_units.value == pytest.approx(7.45, abs=0.1)
    assert fit.transfer_units.value / fit.stoichiometric.value == pytest.approx(1.477, abs=0.002)
    assert fit.rmse == pytest.approx(0.0123, abs=1e-4)
    assert fit.stoichiometric.low < 5.0169 < fit.stoichiometric.high
    # The book has an operating capacity of 60 %; 0.05 of the inlet comes through at 3.05 m3.
    assert fit.throughput_at(0.05) == pytest.approx(3.05, abs=0.01)
    assert fit.throughput_at(0.05) / 5.0169 == pytest.approx(0.607, abs=0.003)


def test_film_control_suits_the_pilot_column_less_well():
    """N = 3.49 and 0.043 without the flat toe below T = 1/N; with it 3.53 and 0.044."""
    fit = fit_curve(FILM, PILOT_M3, PILOT)
    assert fit.transfer_units.value == pytest.approx(3.51, abs=0.03)
    assert fit.rmse == pytest.approx(0.0435, abs=5e-4)


@pytest.mark.parametrize(("r", "t"), [(400, 100), (900, 841), (50, 3)])
def test_the_small_part_of_j_keeps_its_digits(r, t):
    """J(400, 100) is 2e-45: its own integral, from r on, and the tail of the chi-square."""
    with mpmath.workdps(40):
        density = lambda x: mpmath.exp(-t - x) * mpmath.besseli(0, 2 * mpmath.sqrt(t * x))  # noqa: E731
        small = float(mpmath.quad(density, [r, r + 10, r + 50, r + 200, r + 1000]))
    assert thomas(t / r, r, 1) == pytest.approx(small, rel=1e-11)
    assert thomas(t / r, r, 1) == pytest.approx(ncx2.sf(2 * r, 2, 2 * t), rel=1e-11)
