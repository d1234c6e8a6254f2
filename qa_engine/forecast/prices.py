"""What things cost, and the risk that costs least.

A rinse given up by changing the resin early costs its share of the next change; a rinse past the
limit costs a call-back, since that vehicle has to be rinsed again. Both grow with the number of
rinses, which makes it the newsvendor's question, and the answer its critical ratio: change when
the probability of having passed the limit is c_early / (c_early + c_late). Source: P. M. Morse,
G. E. Kimball, Methods of Operations Research (1951), from memory; worked examples in G. Cachon,
C. Terwiesch, Matching Supply with Demand, are among the tests.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from qa_engine.depletion.model import Floats


@dataclass(frozen=True)
class Prices:
    """What things cost, all in one currency.

    Attributes:
        resin: a litre of fresh resin, or of each grade by its name.
        call_back: a vehicle that must be rinsed again. Where only one in three rinses past the
            limit comes back, a third of it.
        early_change: a resin change besides the resin: hours, trip, disposal. Changing early
            brings the next one forward.
        currency: what it is called; for display only.
    """

    resin: float | Mapping[str, float]
    call_back: float
    early_change: float
    currency: str = ""

    def of_resin(self, grade: str) -> float:
        """Return the price of a litre of a grade, NaN where nobody said."""
        if isinstance(self.resin, Mapping):
            return self.resin.get(grade, float("nan"))
        return self.resin


def critical_ratio(cost_below: Floats | float, cost_above: Floats | float) -> Floats:
    """Return the probability at which one more unit costs as much as it saves [1].

    Args:
        cost_below: of each unit too few; >= 0.
        cost_above: of each unit too many; >= 0.

    Returns:
        The share of cases in which demand is to be met; NaN where both costs are 0.
    """
    below, above = np.asarray(cost_below, np.float64), np.asarray(cost_above, np.float64)
    total = below + above
    ratio = np.full(np.broadcast(below, above).shape, np.nan)
    np.divide(below, total, out=ratio, where=total > 0)
    return ratio


def least_cost_risk(change: Floats, rinses_a_charge: Floats, call_back: float) -> Floats:
    """Return the probability of passing the limit at which a change costs least [1].

    Args:
        change: what a change costs, its resin in it.
        rinses_a_charge: vehicles that a fresh charge rinses until its limit.
        call_back: what a rinse past the limit costs, in the same currency.
    """
    # A rinse too late is a unit too many, so the risk is the share of one too early.
    with np.errstate(divide="ignore", invalid="ignore"):
        early = np.where(rinses_a_charge > 0, change / rinses_a_charge, np.nan)
    return critical_ratio(early, call_back)
