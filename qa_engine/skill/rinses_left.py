"""The forecast that is scored: vehicles a charge can still rinse before its outlet shows a limit.

Each scenario of what is believed of the bed says how many equivalents are left until then. What a
vehicle takes is the mean of the tank's last rinses, and it is not known either: few rinses tell
little of the mix of vehicles to come, and a short rest of a charge may hold any mix.
"""

import numpy as np
import polars as pl

from qa_engine.depletion.model import Floats
from qa_engine.depletion.scenarios import COUNT
from qa_engine.facts.learnt import GOLDEN, ROWS_AT_ONCE, outlook_of, used_when_shown
from qa_engine.facts.past import Past
from qa_engine.history import latest
from qa_engine.probability import quantile

ENDS = (0.1, 0.5, 0.9)
"""Low end, median and high end of a forecast: 80 of 100 lie between the outer two [1]."""

RECENT = 60
"""How many of a tank's last rinse records tell what a vehicle takes [1].

Some weeks' work: enough for the mix of vehicles, few enough to follow the water of the season.
Common practice, no published source.
"""

SCATTER = np.array([quantile(((n + 0.5) * GOLDEN) % 1.0) for n in range(COUNT)])
"""How what a vehicle takes scatters over the scenarios, evenly spread, in standard deviations."""


def rinses_left(subjects: pl.DataFrame, past: Past, limit_mg_l: float) -> Floats:
    """Return how many vehicles each subject's charge can still rinse, by what was known then.

    Args:
        subjects: has ``tank`` and ``at``; any order.
        past: the records, of which those up to each subject's instant count.
        limit_mg_l: what the outlet may not reach, on the meter's scale [mg/L].

    Returns:
        An array of low end, median and high end, shape (subjects, 3) [count], not below 0; NaN
        where nothing is forecast.
    """
    found = np.full((subjects.height, len(ENDS)), np.nan)
    for start in range(0, subjects.height, ROWS_AT_ONCE):
        some = subjects[start : start + ROWS_AT_ONCE]
        found[start : start + some.height] = _quantiles(some, past, limit_mg_l)
    return found


def _quantiles(subjects: pl.DataFrame, past: Past, limit_mg_l: float) -> Floats:
    outlook = outlook_of(subjects, past)
    until = used_when_shown(np.full(subjects.height, limit_mg_l), outlook, past)
    left_eq = until * outlook.capacity_eq - outlook.spent_eq[:, np.newaxis]
    taken = taken_by_a_vehicle(subjects, past)
    each_eq, relative, seen = (taken[name].to_numpy()[:, np.newaxis] for name in taken.columns)
    with np.errstate(invalid="ignore", divide="ignore"):
        rinses = np.maximum(left_eq, 0.0) / each_eq
        spread = relative * np.sqrt(1.0 / seen + 1.0 / np.maximum(rinses, 1.0))
        rinses *= np.exp(spread * SCATTER)
    known = np.isfinite(rinses).all(axis=1)
    found = np.full((subjects.height, len(ENDS)), np.nan)
    found[known] = np.quantile(rinses[known], ENDS, axis=1).T
    return found


def taken_by_a_vehicle(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    """Return what a vehicle took of late on each subject's tank, row for row.

    Returns:
        A frame of ``each_eq``, the mean [eq]; ``relative``, the standard deviation between
        vehicles over it [1]; ``seen``, how many vehicles they come from [count]; null where no
        rinse on the tank is known in full.
    """
    rinses = past.usage.select("tank", "at", "rinses", "equivalents").drop_nulls()
    rinses = rinses.filter(pl.col("rinses") > 0).with_columns(
        (pl.col("equivalents") ** 2 / pl.col("rinses")).alias("squares")
    )
    sums = [
        pl.col(name).rolling_sum(RECENT, min_samples=1).over("tank")
        for name in ("rinses", "equivalents", "squares")
    ]
    rinses = rinses.with_columns(sums)
    found = latest(subjects, rinses, by="tank", take=["rinses", "equivalents", "squares"])
    mean = pl.col("equivalents") / pl.col("rinses")
    variance = (pl.col("squares") / pl.col("rinses") - mean**2).clip(lower_bound=0.0)
    return found.select(
        mean.alias("each_eq"),
        (variance.sqrt() / mean).fill_nan(0.0).alias("relative"),
        pl.col("rinses").alias("seen"),
    )
