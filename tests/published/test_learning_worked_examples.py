"""Worked examples of Bayes' rule, by the very function that learns capacity.

Conjugate normal: Gelman et al., Bayesian Data Analysis, 3rd ed., exercise 2.8, and the closed form
``1/P' = 1/P0 + sum 1/r^2``. Truncated normal: mean ``m + s h``, h the hazard at the cut. Censored
exponential: remission of 21 patients on 6-mercaptopurine (E. J. Freireich et al., Blood 21 (1963)
699; E. A. Gehan, Biometrika 52 (1965) 203), 9 events in 359 weeks; patient by patient as the
survival library lifelines 0.30.3 has them (``load_leukemia``, ``Rx == 0``). Drift: R. E. Kalman,
J. Basic Eng. 82 (1960) 35, on three readings and on the flow of the Nile (J. Durbin & S. J.
Koopman, Time Series Analysis by State Space Methods; the data as in statsmodels 0.15.0).
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


def test_a_capacity_of_which_the_scatter_of_readings_is_not_known():
    """Normal and inverse gamma: k 1, m 20, a 2, b 4; readings 17, 18, 16.5, 17.5.

    k' 5, m' 17.8, a' 4, b' 7.65: Student's t with 8 degrees of freedom about 17.8, of the scale
    sqrt(7.65 / (4 x 5)) = 0.61847; 97.5 % of it lie below 2.306 scales.
    """
    means, log_variances = np.linspace(8.0, 28.0, 2001), np.linspace(-4.0, 7.0, 441)
    mean, variance = np.meshgrid(means, np.exp(log_variances), indexing="ij")
    # Of the logarithm of the variance, hence one power less than of the variance itself.
    prior = variance**-2.5 * np.exp(-4.0 / variance - (mean - 20.0) ** 2 / (2 * variance))
    evidence = sum(
        normal(reading, mean, np.sqrt(variance)) - 0.5 * np.log(variance)
        for reading in (17.0, 18.0, 16.5, 17.5)
    )
    weights = learn(prior.ravel(), evidence.ravel()).reshape(prior.shape).sum(axis=1)
    assert moments(weights, means)[0] == pytest.approx(17.8, abs=1e-4)
    interval = quantiles(weights, means, (0.025, 0.975))
    assert interval == pytest.approx([16.373815, 19.226185], abs=1e-3)


def drifted(weights, points, sd):
    """Return the weights after a step of a random walk of this standard deviation."""
    step = points[1] - points[0]
    reach = int(8 * sd / step)
    kernel = believed(np.arange(-reach, reach + 1) * step, 0.0, sd)
    return np.convolve(weights, kernel / kernel.sum(), mode="same")


COARSE = np.linspace(-10.0, 50.0, 3001)


@pytest.mark.parametrize(
    ("reading", "mean", "sd"),
    [(0, 17.905660, 1.671063), (1, 17.946417, 1.314559), (2, 17.467816, 1.150456)],
)
def test_a_capacity_that_drifts_between_readings(reading, mean, sd):
    """Prior 20 +/- 3, readings 17, 18, 16.5, each +/- 2; the variance grows by 0.25 before each."""
    weights = believed(COARSE, 20.0, 3.0)
    for shown in (17.0, 18.0, 16.5)[: reading + 1]:
        weights = learn(drifted(weights, COARSE, 0.5), normal(shown, COARSE, 2.0))
    assert moments(weights, COARSE) == pytest.approx((mean, sd), abs=1e-6)


def test_in_the_long_run_every_reading_counts_alike():
    """Gain K: prior variance [q + sqrt(q^2 + 4 q r^2)] / 2 = 1.132782, over itself plus 4."""
    weights = believed(COARSE, 20.0, 3.0)
    for _ in range(60):
        weights = learn(drifted(weights, COARSE, 0.5), normal(20.0, COARSE, 2.0))
    # After a reading the variance is K r^2.
    assert moments(weights, COARSE)[1] ** 2 / 4 == pytest.approx(0.220696, abs=1e-6)


NILE = [
    1120, 1160, 963, 1210, 1160, 1160, 813, 1230, 1370, 1140, 995, 935, 1110, 994, 1020, 960, 1180,
    799, 958, 1140, 1100, 1210, 1150, 1250, 1260, 1220, 1030, 1100, 774, 840, 874, 694, 940, 833,
    701, 916, 692, 1020, 1050, 969, 831, 726, 456, 824, 702, 1120, 1100, 832, 764, 821, 768, 845,
    864, 862, 698, 845, 744, 796, 1040, 759, 781, 865, 845, 944, 984, 897, 822, 1010, 771, 676, 649,
    846, 812, 742, 801, 1040, 860, 874, 848, 890, 744, 749, 838, 1050, 918, 986, 797, 923, 975, 815,
    1020, 906, 901, 1170, 912, 746, 919, 718, 714, 740,
]  # fmt: skip


def test_the_level_of_the_nile_after_a_hundred_years():
    """Variances 15 099 of a year's flow and 1 469.1 of the level's drift; 10^7 at the start."""
    flow = np.linspace(-1000.0, 3000.0, 2001)
    weights = believed(flow, 0.0, 1e7**0.5)
    for year, shown in enumerate(NILE):
        if year:
            weights = drifted(weights, flow, 1469.1**0.5)
        weights = learn(weights, normal(float(shown), flow, 15_099.0**0.5))
    mean, sd = moments(weights, flow)
    assert mean == pytest.approx(798.3703, abs=0.01)
    assert sd**2 == pytest.approx(4032.158, abs=0.01)
    assert sd**2 / 15_099.0 == pytest.approx(0.267048, abs=1e-6)
