"""The water that each tank will be asked for, day by day, drawn from its own past days.

A coming Monday is like one of the tank's Mondays, now and then like any of its days. For each
scenario the past days are weighed anew (the Bayesian bootstrap: D. B. Rubin, Annals of Statistics
9 (1981) 130, from memory), so that what few days cannot tell is not taken for known; all days of
the tank together count as much as one day of the weekday. Days without a rinse are days like
others. Nothing is drawn by chance: the draws are mixed from the tank's id, so that the same records
give the same forecast in whatever order or block.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qa_engine.depletion.model import Floats
from qa_engine.forecast.draws import Wholes, drawn, shares

Places = NDArray[np.intp]

ANY_DAY = 1.0
"""How many days of its own weekday all days of the tank together count as much as [1]."""

WEEK = 7


@dataclass(frozen=True)
class Demand:
    """The water drawn from tanks; every array has a row per tank.

    Attributes:
        seeds: two numbers per tank, one for the weights and one for the days, shape (tanks, 2).
        past_l: water of each past day, shape (tanks, past days), in whole weeks and the last one
            yesterday; NaN for days that say nothing [L].
        season: by how much demand of a coming day differs from that of the past days, shape
            (tanks, 1 + days) [1].
        today_l: what was drawn today so far, shape (tanks,) [L].
        scenarios: how many there are.
    """

    seeds: Wholes
    past_l: Floats
    season: Floats
    today_l: Floats
    scenarios: int

    def litres(self, rows: slice | Places | None = None) -> Floats:
        """Return the water drawn on each day, shape (rows, 1 + days, scenarios) [L].

        The first day is the rest of today: what a whole day takes, less what was drawn by now. NaN
        for tanks of which no past day is known. It is worked out anew at each call; ask for some
        hundred rows at a time.
        """
        some = slice(None) if rows is None else rows
        past, season = self.past_l[some], self.season[some]
        found = _drawn_days(self.seeds[some], past, season.shape[1], self.scenarios)
        found *= season[:, :, np.newaxis]
        found[:, 0] = np.maximum(found[:, 0] - self.today_l[some, np.newaxis], 0.0)
        return found


def _drawn_days(seeds: Wholes, past_l: Floats, days: int, scenarios: int) -> Floats:
    """Return the water of past days drawn for each coming one, shape (tanks, days, scenarios)."""
    known = ~np.isnan(past_l)
    weights = -np.log(shares(drawn(seeds[:, 0], scenarios, past_l.shape[1])))
    weights *= known[:, np.newaxis]
    any_day = ANY_DAY / np.maximum(known.sum(axis=1), 1)
    lots = shares(drawn(seeds[:, 1], days, scenarios))
    found = np.empty(lots.shape)
    for weekday in range(min(WEEK, days)):
        place = _picked(weights, any_day, weekday, lots[:, weekday::WEEK])
        found[:, weekday::WEEK] = np.take_along_axis(past_l[:, np.newaxis], place, axis=2)
    found[~known.any(axis=1)] = np.nan
    return found


def _picked(weights: Floats, any_day: Floats, weekday: int, lots: Floats) -> Places:
    """Return the past day that each lot falls on, shape of the lots.

    Args:
        weights: of the past days, shape (tanks, scenarios, past days).
        any_day: what part of its weight a day has on other weekdays, and has more on its own,
            shape (tanks,).
        weekday: the place of the first such day among the past ones.
        lots: numbers from 0 to 1, shape (tanks, days, scenarios).
    """
    all_days = np.cumsum(weights, axis=2)
    own_days = np.cumsum(weights[..., weekday::WEEK], axis=2)
    own, every = own_days[..., -1], all_days[..., -1]
    lot = lots * (own + any_day[:, np.newaxis] * every)[:, np.newaxis]
    place: Places = (own_days[:, np.newaxis] <= lot[..., np.newaxis]).sum(axis=3) * WEEK + weekday
    tank, day, scenario = np.nonzero(lot >= own[:, np.newaxis])
    rest = (lot[tank, day, scenario] - own[tank, scenario]) / any_day[tank]
    rest = np.minimum(rest, np.nextafter(every[tank, scenario], 0.0))
    other = (all_days[tank, scenario] <= rest[:, np.newaxis]).sum(axis=1)
    place[tank, day, scenario] = np.minimum(other, weights.shape[2] - 1)
    return place
