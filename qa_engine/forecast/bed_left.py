"""What the resin has left until the outlet reaches its limit, scenario by scenario."""

from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from qa_engine.depletion.model import Floats
from qa_engine.depletion.scenarios import COUNT
from qa_engine.facts.learnt import used_when_shown
from qa_engine.facts.past import Past
from qa_engine.forecast.standing import Standing

RUNS_EACH = 4
"""Runs of days and of water for each pair of capacity and sharpness."""

SCENARIOS = COUNT * RUNS_EACH
"""How many scenarios there are for each tank."""

GOLDEN = (5**0.5 - 1) / 2
"""Multiples of it, without their whole parts, fill the range from 0 to 1 evenly [1]."""

WANDERS = np.array(
    [NormalDist().inv_cdf(share) for share in (np.arange(SCENARIOS) + 0.5) * GOLDEN % 1.0]
)
"""How far the load of the water lies from its last value in each scenario [standard deviations]."""


@dataclass(frozen=True)
class BedLeft:
    """Arrays of the shape (tanks, ``SCENARIOS``), NaN where unknown.

    Attributes:
        left_eq: until the outlet reaches the limit; infinite where it never does [eq].
        fresh_eq: the same for a fresh charge [eq].
        load_eq_l: what a litre of water spends [eq/L].
    """

    left_eq: Floats
    fresh_eq: Floats
    load_eq_l: Floats


def bed_left(standing: Standing, wander: Floats, past: Past) -> BedLeft:
    """Return what the resin of each tank has left.

    A reading that has reached the limit counts more than any model: then nothing is left.

    Args:
        standing: how the tanks stand.
        wander: how far the load of each tank's water strays, as sd of its logarithm [1].
        past: the records.
    """
    outlook, tanks = standing.outlook, standing.tanks
    limit = tanks["limit"].to_numpy()
    fresh = used_when_shown(limit, outlook, past) * outlook.capacity_eq
    left = np.maximum(fresh - outlook.spent_eq[:, np.newaxis], 0.0)
    left[tanks["at_limit"].to_numpy() & ~np.isnan(left).any(axis=1)] = 0.0
    load = tanks["load"].to_numpy()[:, np.newaxis] * np.exp(wander[:, np.newaxis] * WANDERS)
    return BedLeft(np.repeat(left, RUNS_EACH, axis=1), np.repeat(fresh, RUNS_EACH, axis=1), load)
