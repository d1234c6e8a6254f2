"""When the limit is reached, and by when the resin must be changed at a risk."""

from collections.abc import Iterator

import numpy as np
import polars as pl

from qa_engine.depletion.model import Floats
from qa_engine.forecast.bed_left import BedLeft
from qa_engine.forecast.demand import Demand
from qa_engine.forecast.prices import Prices, least_cost_risk
from qa_engine.forecast.quantiles import (
    SHARES,
    Places,
    day_of_risk,
    day_of_share,
    day_reached,
    ends_of,
    share_before,
)

TANKS_AT_ONCE = 64
"""How many tanks are run through their days at once."""

ASSUMED_RISK = 0.1
"""The risk where nobody stated one and none can be worked out [1]; said in the notes."""


def dates_of(
    tanks: pl.DataFrame, left: BedLeft, demand: Demand, risk: float | None, prices: Prices | None
) -> list[pl.Series]:
    """Return the columns of ``Forecast.tanks`` about days and risks.

    Args:
        tanks: has ``at``, ``grade``, ``resin_volume``, ``litres_a_rinse``, ``why_not``.
        left: what the resin has left.
        demand: what will be drawn.
        risk: the one that is taken, None for that of least cost.
        prices: what things cost.
    """
    cheapest = _cheapest(tanks, left, prices)
    taken = np.full(tanks.height, risk) if risk is not None else cheapest
    taken = np.where(np.isnan(taken), ASSUMED_RISK, taken)
    ordered = ordered_days(left, demand)
    ends = [_as_days(day_of_share(ordered, share), tanks, demand) for share in SHARES]
    by = np.maximum(day_of_risk(ordered, taken), 0)
    cheap_by = np.maximum(day_of_risk(ordered, np.nan_to_num(cheapest)), 0)
    last = np.full(tanks.height, demand.season.shape[1])
    columns = {
        "reached_low": ends[0],
        "reached_median": ends[1],
        "reached_high": ends[2],
        "share_within": pl.Series(share_before(ordered, last)),
        "risk": pl.Series(taken),
        "change_by": _as_days(by, tanks, demand),
        "change_risk": pl.Series(share_before(ordered, by)),
        "least_cost_risk": pl.Series(cheapest, nan_to_null=True),
        "least_cost_by": _as_days(cheap_by, tanks, demand),
    }
    known = pl.col("why_not").is_null()
    priced = known & pl.col("least_cost_risk").is_not_null()
    frame = tanks.select("why_not").with_columns(**columns)
    kept = (
        pl.when(priced if name == "least_cost_by" else known).then(pl.col(name)).alias(name)
        for name in columns
    )
    return frame.select(kept).get_columns()


def ordered_days(left: BedLeft, demand: Demand) -> Places:
    """Return the days on which the limit is reached, ascending, shape (tanks, scenarios)."""
    found = np.empty(left.left_eq.shape, np.int64)
    for rows in _slices(len(found)):
        drawn = demand.litres(rows) * left.load_eq_l[rows, np.newaxis]
        found[rows] = day_reached(left.left_eq[rows], drawn)
    found.sort(axis=1)
    return found


def _slices(count: int) -> Iterator[slice]:
    for start in range(0, count, TANKS_AT_ONCE):
        yield slice(start, min(start + TANKS_AT_ONCE, count))


def _as_days(places: Places, tanks: pl.DataFrame, demand: Demand) -> pl.Series:
    """Return places on the axis of days as dates, null where they lie beyond it."""
    beyond = demand.season.shape[1]
    today = tanks["today"]
    ahead = pl.Series("ahead", np.maximum(places, 0))
    return (
        pl.DataFrame([today, ahead])
        .select(
            pl.when(pl.col("ahead") < beyond).then(
                pl.col("today") + pl.duration(days=pl.col("ahead"))
            )
        )
        .to_series()
    )


def _cheapest(tanks: pl.DataFrame, left: BedLeft, prices: Prices | None) -> Floats:
    """Return the risk that costs least for each tank, NaN where that is not known [1]."""
    if prices is None:
        return np.full(tanks.height, np.nan)
    of_resin = np.array([prices.of_resin(grade or "") for grade in tanks["grade"]])
    change = of_resin * tanks["resin_volume"].to_numpy() + prices.early_change
    with np.errstate(divide="ignore", invalid="ignore"):
        rinses = ends_of(left.fresh_eq / left.load_eq_l)[:, 1] / tanks["litres_a_rinse"].to_numpy()
    return least_cost_risk(change, rinses, prices.call_back)
