"""Worked examples of Bayes' rule, by the very function that learns capacity.

Conjugate normal: Gelman et al., Bayesian Data Analysis, 3rd ed., exercise 2.8, and the closed form
``1/P' = 1/P0 + sum 1/r^2``. Truncated normal: mean ``m + s h``, h the hazard at the cut. Censored
exponential: remission of 21 patients on 6-mercaptopurine (E. J. Freireich et al., Blood 21 (1963)
699; E. A. Gehan, Biometrika 52 (1965) 203), 9 events in 359 weeks.
"""

import numpy as np
import pytest

from qa_engine.depletion.posterior import learn, moments, quantiles
from qa_engine.probability import normal_cdf

POINTS = np.linspace(-10.0, 50.0, 60_001)
"""Steps of 0.001, so that 18 lies on a point; the tails beyond do not matter."""


def normal(points, mean, sd):
    return -0.5 * ((points - mean) / sd) ** 2


def believed(points, mean, sd):
    return np.exp(normal(points, mean, sd))


def test_three_noisy_readings_of_a_capacity():
    """Prior 20 +/- 3, readings 17, 18, 16.5, each +/- 2."""
    evidence = sum(normal(reading, POINTS, 2.0) for reading in (17.0, 18.0, 16.5))
    mean, sd = moments(learn(believed(POINTS, 20.0, 3.0), evidence), POINTS)
    assert mean == pytest.approx(17.532258, abs=1e-6)
    assert sd == pytest.approx(1.077632, abs=1e-6)


@pytest.mark.parametrize(
    ("reading", "mean", "sd"),
    [(0, 17.923077, 1.664101), (1, 17.954545, 1.279204), (2, 17.532258, 1.077632)],
)
def test_one_reading_after_the_other_gives_the_same(reading, mean, sd):
    weights = believed(POINTS, 20.0, 3.0)
    for shown in (17.0, 18.0, 16.5)[: reading + 1]:
        weights = learn(weights, normal(shown, POINTS, 2.0))
    assert moments(weights, POINTS) == pytest.approx((mean, sd), abs=1e-6)


@pytest.mark.parametrize(
    ("n", "mean", "sd", "low", "high"),
    [(10, 150.7317, 6.24695, 138.49, 162.98), (100, 150.0748, 1.99750, 146.16, 153.99)],
)
def test_the_weight_of_students(n, mean, sd, low, high):
    """Prior 180 +/- 40; n students weigh 150 on average, each +/- 20."""
    points = np.linspace(0.0, 360.0, 36_001)
    weights = learn(believed(points, 180.0, 40.0), normal(150.0, points, 20.0 / np.sqrt(n)))
    assert moments(weights, points)[0] == pytest.approx(mean, abs=1e-4)
    assert moments(weights, points)[1] == pytest.approx(sd, abs=1e-5)
    assert quantiles(weights, points, (0.025, 0.975)) == pytest.approx([low, high], abs=0.005)


def test_a_bed_changed_before_its_end_held_more_than_it_had_taken():
    """Prior 20 +/- 3; changed at 18 without a sign of exhaustion."""
    # The point at the limit itself stands for a cell of which half lies on either side.
    with np.errstate(divide="ignore"):
        evidence = np.log(np.heaviside(np.round(POINTS - 18.0, 6), 0.5))
    weights = learn(believed(POINTS, 20.0, 3.0), evidence)
    mean, sd = moments(weights, POINTS)
    assert mean == pytest.approx(21.282053, abs=1e-6)
    assert sd == pytest.approx(2.189117, abs=1e-6)


def test_the_same_where_what_it_had_taken_is_known_to_two():
    """``Phi((q - 18) / 2)`` instead of a sharp cut."""
    with np.errstate(divide="ignore"):
        evidence = np.log(normal_cdf((POINTS - 18.0) / 2.0))
    mean, sd = moments(learn(believed(POINTS, 20.0, 3.0), evidence), POINTS)
    assert mean == pytest.approx(21.201802, abs=1e-6)
    assert sd == pytest.approx(2.427270, abs=1e-6)


RELAPSED = (6, 6, 6, 7, 10, 13, 16, 22, 23)
STILL_IN_REMISSION = (6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35)


def test_patients_still_in_remission_count_with_the_time_they_were_watched():
    """With the prior 1/rate the mean of the rate is events over time: 9 / 359 weeks."""
    rate = np.linspace(1e-5, 0.15, 15_000)
    evidence = np.zeros_like(rate)
    for weeks in RELAPSED:
        evidence += np.log(rate) - rate * weeks
    for weeks in STILL_IN_REMISSION:
        evidence -= rate * weeks
    weights = learn(1.0 / rate, evidence)
    assert (len(RELAPSED), sum(RELAPSED) + sum(STILL_IN_REMISSION)) == (9, 359)
    assert moments(weights, rate)[0] == pytest.approx(0.0250696, abs=1e-7)
    most_likely = rate[np.argmax(evidence)]
    assert 1 / most_likely == pytest.approx(39.8889, abs=0.02)  # the grid has steps of 1e-5


def test_leaving_them_out_would_tell_of_far_too_short_a_time():
    """109 weeks over 9 relapses are 12.1 weeks, not 39.9: so censored charges must count."""
    assert sum(RELAPSED) / len(RELAPSED) == pytest.approx(12.11, abs=0.01)
