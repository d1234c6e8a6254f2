"""Decisions with uncertainty of measurement, against independently computed values.

Method: JCGM 100:2008 (GUM) for uncertainties, JCGM 106:2012 for probabilities and risks,
ILAC-G8:09/2019 for guard bands. The numbers were worked out apart from this project, with a
general statistics library and, for the temperature, a Monte Carlo of two million draws.
"""

import numpy as np
import pytest

from qa_engine.decision_risk import (
    Known,
    acceptance_limit,
    after_reading,
    consumers_risk,
    producers_risk,
)
from qa_engine.probability import conformance_probability, normal_cdf, quantile
from qa_engine.uncertainty import (
    combined,
    of_resolution,
    of_tds,
    parts_at_25,
    rectangular,
    slope_at_25,
    specified_half_width,
)

OFF = 1e-5
SIX = {"rel": 1e-6, "abs": 5e-7}
"""For values printed with six decimals."""


@pytest.mark.parametrize(
    ("reading", "step", "half_width", "uncertainty"),
    [
        pytest.param(9.0, 1.0, 1.18, 0.681273, id="M1"),
        pytest.param(9.0, 0.1, 0.28, 0.161658, id="M2"),
        pytest.param(250.0, 1.0, 6.00, 3.464102, id="M3"),
    ],
)
def test_m1_m2_m3_two_percent_of_reading_and_a_digit(reading, step, half_width, uncertainty):
    """M1: 0.02 x 9 + 1 = 1.18; 1.18 / sqrt 3 = 0.681273."""
    found = specified_half_width(reading, 2.0, 1.0, step)
    assert found == pytest.approx(half_width, rel=1e-12)
    assert rectangular(found) == pytest.approx(uncertainty, rel=OFF)


def test_m1_with_the_resolution_beside_the_digits_and_by_root_of_squares():
    """sqrt(0.681273^2 + 1/12) = 0.739910; sqrt(0.18^2 + 1^2) / sqrt 3 = 0.586629."""
    assert combined(rectangular(1.18), of_resolution(1.0)) == pytest.approx(0.739910, rel=OFF)
    assert rectangular(combined(0.18, 1.0)) == pytest.approx(0.586629, rel=OFF)


@pytest.mark.parametrize(
    ("measured", "uncertainty", "limits", "probability"),
    [
        pytest.param(9.0, 0.7, {"upper": 10.0}, 0.923436, id="M4"),
        pytest.param(8.5, 0.6, {"upper": 10.0}, 0.993790, id="M5"),
        pytest.param(1.5, 0.2, {"lower": 1.0, "upper": 2.0}, 0.987581, id="M6"),
        pytest.param(0.5, 0.6, {"upper": 1.0, "floor": 0.0}, 0.746351, id="M8"),
        pytest.param(0.5, 0.6, {"upper": 1.0}, 0.797672, id="M8 not cut off at zero"),
    ],
)
def test_m4_m5_m6_m8_probability_of_conformity(measured, uncertainty, limits, probability):
    found = conformance_probability(measured, uncertainty, **limits)
    assert float(found) == pytest.approx(probability, **SIX)


def test_m7_acceptance_limit_and_guard_band():
    """10 - 1.644854 x 0.6 = 9.013088; with twice 0.6 it is 8.8, and there p is 0.977250."""
    assert acceptance_limit(10.0, 0.6, 0.95) == pytest.approx(9.013088, **SIX)
    assert float(conformance_probability(8.8, 0.6, upper=10.0)) == pytest.approx(0.977250, **SIX)
    assert acceptance_limit(10.0, 0.6, float(normal_cdf(2.0))) == pytest.approx(8.8, rel=1e-12)


@pytest.mark.parametrize(
    ("acceptance", "consumer", "producer"),
    [
        pytest.param(10.0, 0.00454824, 0.00950277, id="M9"),
        pytest.param(9.013088, 0.000273287, 0.0520324, id="M10"),
    ],
)
def test_m9_m10_global_risks(acceptance, consumer, producer):
    """Of things like N(6, 2), measured with 0.6, that must not be above 10."""
    told = (Known(6.0, 2.0), 0.6, 10.0, acceptance)
    assert consumers_risk(*told) == pytest.approx(consumer, rel=OFF)
    assert producers_risk(*told) == pytest.approx(producer, rel=OFF)


def test_m11_a_reading_of_something_that_is_not_unknown():
    """(6/4 + 9.5/0.36) / (1/4 + 1/0.36) = 9.211009; 1 / sqrt(3.027778) = 0.574696."""
    found = after_reading(Known(6.0, 2.0), 9.5, 0.6)
    assert found.mean == pytest.approx(9.211009, **SIX)
    assert found.deviation == pytest.approx(0.574696, **SIX)
    probability = conformance_probability(found.mean, found.deviation, upper=10.0)
    assert float(probability) == pytest.approx(0.915106, **SIX)


def test_m12_temperature_compensation():
    """260 +/- 2 % uS/cm at 18 +/- 0.5 degC with 0.02 +/- 0.002 per degC, all rectangular."""
    uncertainties = (rectangular(5.2), rectangular(0.5), rectangular(0.002))
    assert 260.0 / slope_at_25(18.0, 0.02) == pytest.approx(302.3256, rel=OFF)
    parts = parts_at_25(260.0, 18.0, 0.02, uncertainties)
    assert parts == pytest.approx((3.49096, -2.02963, 2.84148), rel=OFF)
    assert combined(*parts) == pytest.approx(4.93762, rel=OFF)


def test_m12_agrees_with_a_monte_carlo():
    """4.942 from two million draws; here 200,000 by seed, good to half a percent."""
    rng = np.random.default_rng(12)
    shown = rng.uniform(260 - 5.2, 260 + 5.2, 200_000)
    degc, slope = rng.uniform(17.5, 18.5, 200_000), rng.uniform(0.018, 0.022, 200_000)
    assert np.std(shown / (1 + slope * (degc - 25))) == pytest.approx(4.942, rel=5e-3)


def test_m13_between_meters_the_factor_outweighs_all_else():
    """250 x 0.1 / sqrt 3 = 14.4338 mg/L on 150 mg/L, where the meter itself adds about 2."""
    of_factor = of_tds(250.0, 0.0, 0.6, rectangular(0.1))
    assert of_factor == pytest.approx(14.4338, rel=OFF)
    assert of_factor > 5 * rectangular(specified_half_width(150.0, 2.0, 1.0, 1.0))


def test_m17_normal_quantiles():
    assert quantile(0.95) == pytest.approx(1.644854, abs=1e-6)
    assert quantile(0.99) == pytest.approx(2.326348, abs=1e-6)


def test_m18_a_guard_band_of_two_standard_uncertainties_accepts_less_than_2_5_percent_wrongly():
    """A value at 10 - 2 x 0.6 whose true value lies above 10: 1 - Phi(2) = 0.022750."""
    wrongly = 1.0 - float(conformance_probability(10.0 - 2 * 0.6, 0.6, upper=10.0))
    assert wrongly == pytest.approx(0.022750, abs=1e-6)
    assert wrongly < 0.025
