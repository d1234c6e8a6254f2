"""How good forecasts of rinses left were: error, coverage, and the rule of thumb beside them."""

from dataclasses import dataclass

import numpy as np

from qa_engine.depletion.model import Floats

SHARES = (0.25, 0.50, 0.75, 0.90)
"""At which shares of a charge's life forecasts are scored [1]."""

LEAST_CHARGES = 10
"""From fewer charges no figure is given: it would say more of them than of the forecast [1]."""


@dataclass(frozen=True)
class Cases:
    """Forecasts beside what happened, one entry per charge.

    Attributes:
        done: vehicles rinsed when the forecast was made [count].
        life: vehicles rinsed when the outlet reached the limit [count].
        forecast: low end, median and high end of rinses left, shape (charges, 3) [count].
        rated: what the rule of thumb rates the charge for [count].
    """

    done: Floats
    life: Floats
    forecast: Floats
    rated: Floats

    @property
    def left(self) -> Floats:
        """Return how many vehicles were rinsed from the forecast to the limit [count]."""
        return self.life - self.done


@dataclass(frozen=True)
class Score:
    """How forecasts did.

    Attributes:
        charges: how many charges they were made for.
        error: median absolute error of rinses left, over the life of the charge [1].
        within: of how many charges the rinses left lay in the 80 % interval [count].
        by_rule: the error of the rule of thumb [1].
    """

    charges: int
    error: float
    within: int
    by_rule: float

    @property
    def coverage(self) -> float:
        """Return the share of charges whose rinses left lay in the 80 % interval [1]."""
        return self.within / self.charges

    @property
    def lower(self) -> float:
        """Return by what share the error is lower than that of the rule of thumb [1]."""
        return 1.0 - self.error / self.by_rule if self.by_rule > 0 else float("nan")


def rated_rinses(life: Floats, resin_l: Floats | None = None) -> Floats:
    """Return what the rule of thumb rates each charge for, at its best: fitted in hindsight.

    A rule that rates every charge alike errs least if it rates it at the median of their lives.

    Args:
        life: vehicles that each charge rinsed, shape (charges,) [count].
        resin_l: resin in each; with it the rule rates a litre of resin instead of a tank [L].
    """
    size = np.ones(len(life)) if resin_l is None else resin_l
    return np.asarray(np.median(life / size) * size, np.float64)


def score_of(cases: Cases) -> Score:
    """Return how forecasts did, of at least one charge."""
    low, median, high = cases.forecast.T
    by_rule = np.maximum(cases.rated - cases.done, 0.0)
    within = (low <= cases.left) & (cases.left <= high)
    return Score(
        charges=len(cases.life),
        error=float(np.median(np.abs(median - cases.left) / cases.life)),
        within=int(within.sum()),
        by_rule=float(np.median(np.abs(by_rule - cases.left) / cases.life)),
    )
