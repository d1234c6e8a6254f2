"""What a decision rule risks: where it accepts, and how often it accepts or rejects wrongly.

For whoever chooses a rule's confidence: a guard band protects the customer and costs resin that
was still good. Sources: JCGM 106:2012, sections 8 and 9; ILAC-G8:09/2019, section 4.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qa_engine.probability import normal_cdf, quantile

NODES = 200
REACH = 12.0
"""How many standard deviations from the mean the integrals go."""


@dataclass(frozen=True)
class Known:
    """What is known of a quantity: a mean and its standard deviation, in one unit."""

    mean: float
    deviation: float


def acceptance_limit(upper: float, uncertainty: float, confidence: float) -> float:
    """Return the greatest value that is accepted below an upper limit, all in one unit.

    The guard band is the quantile of the confidence times the standard uncertainty: 1.645 u for
    95 %. A guard band of 2 u (k = 2) is a confidence of 97.7 %.
    """
    return upper - quantile(confidence) * uncertainty


def consumers_risk(prior: Known, uncertainty: float, upper: float, acceptance: float) -> float:
    """Return how probable it is that something above its limit is accepted [1].

    Args:
        prior: what the things measured are like.
        uncertainty: standard uncertainty of the measurement.
        upper: the limit that they must not exceed.
        acceptance: the value up to which they are accepted.
    """
    return _risk(prior, uncertainty, acceptance, upper, above=True)


def producers_risk(prior: Known, uncertainty: float, upper: float, acceptance: float) -> float:
    """Return how probable it is that something within its limit is not accepted [1]."""
    return _risk(prior, uncertainty, acceptance, upper, above=False)


def _risk(prior: Known, uncertainty: float, acceptance: float, upper: float, above: bool) -> float:
    reach = REACH * prior.deviation
    ends = (upper, max(upper, prior.mean) + reach) if above else (prior.mean - reach, upper)
    true, weights = _nodes(*ends)
    accepted = normal_cdf((acceptance - true) / uncertainty)
    density = np.exp(-0.5 * ((true - prior.mean) / prior.deviation) ** 2)
    density /= prior.deviation * math.sqrt(2 * math.pi)
    return float(np.sum(weights * density * (accepted if above else 1.0 - accepted)))


def _nodes(first: float, last: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    places, weights = np.polynomial.legendre.leggauss(NODES)
    half = (last - first) / 2
    return first + half * (places + 1), weights * half


def after_reading(prior: Known, reading: float, uncertainty: float) -> Known:
    """Return what is known after one reading of a quantity of which something was known before.

    Source: JCGM 106:2012, section 6: normal prior, normal measurement, weights by precision.
    """
    precision = prior.deviation**-2 + uncertainty**-2
    mean = (prior.mean / prior.deviation**2 + reading / uncertainty**2) / precision
    return Known(mean, precision**-0.5)
