"""Resin to have in stock: litres of each grade at each base for the coming weeks.

In each scenario of a tank its resin is changed on the day recommended, or when the outlet reaches
the limit if that comes first; what is loaded then lasts until the limit again, so that a tank may
need more than one charge. The scenarios of a tank are equally likely and those of two tanks say
nothing of each other: the distribution of a sum is found by folding those of the tanks together.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from qa_engine.depletion.model import Floats
from qa_engine.forecast.outcome import Forecast

STOCK: dict[str, Any] = {
    "base": pl.String,
    "grade": pl.String,
    "until": pl.Date,
    "tanks": pl.UInt32,
    "litres_mean": pl.Float64,
    "litres": pl.Float64,
}
UNCOUNTED: dict[str, Any] = {
    "base": pl.String,
    "tank": pl.String,
    "grade": pl.String,
    "why_not": pl.String,
}
WEEK = 7
TANKS_AT_ONCE = 256
"""How many tanks are run through their days at once."""

FINEST_L = 0.01
"""The step in which litres are counted, as long as that makes no more than ``MOST_STEPS`` [L]."""

MOST_STEPS = 50_000
SLACK = 1e-12
VOLUME_UNKNOWN = "volume unknown"
"""Why a tank is not counted, as in ``whynot.WHY_NOT``."""

Counts = NDArray[np.intp]
Places = NDArray[np.intp]


@dataclass(frozen=True)
class Stock:
    """The resin that the coming weeks will take.

    Attributes:
        weeks: a row per base, grade and week, sorted; base is null for tanks of which none is
            known. Until the end of the day ``until``, counted from now: ``tanks`` in the sum,
            ``litres_mean`` to be expected, and ``litres`` that suffice at the service level [L].
        service_level: the probability with which they do [1].
        uncounted: tanks in a base's care that could not be counted, and why, as in
            ``Forecast.tanks``; what they take comes on top.
    """

    weeks: pl.DataFrame
    service_level: float
    uncounted: pl.DataFrame


def stock_of(forecast: Forecast, service_level: float) -> Stock:
    """Return the resin to have in stock for each whole week that the forecast looks ahead.

    Args:
        forecast: of the tanks.
        service_level: how likely the litres are to suffice, above 0 and below 1.
    """
    ends = list(range(WEEK, forecast.days + 1, WEEK)) or [forecast.days]
    tanks = forecast.tanks.with_row_index("place")
    counted = tanks.filter(pl.col("why_not").is_null(), pl.col("resin_volume") > 0)
    needed = charges_needed(forecast, counted["place"].to_numpy().astype(np.intp), ends)
    rows = [
        {"until": forecast.day(day), **row}
        for place, day in enumerate(ends)
        for row in _totals(counted, needed[:, place], service_level)
    ]
    weeks = pl.DataFrame(rows, schema=STOCK).sort("base", "grade", "until", nulls_last=True)
    return Stock(weeks, service_level, _uncounted(tanks, counted))


def _uncounted(tanks: pl.DataFrame, counted: pl.DataFrame) -> pl.DataFrame:
    left = tanks.join(counted, on="tank", how="anti")
    why = pl.col("why_not").fill_null(VOLUME_UNKNOWN)
    return left.select(pl.exclude("why_not"), why).select(*UNCOUNTED).sort("base", "tank")


def _totals(counted: pl.DataFrame, needed: Counts, level: float) -> Iterator[dict[str, Any]]:
    """Yield a row for each base and grade: what its tanks need until the end of one day."""
    placed = counted.with_row_index("row")
    for (base, grade), own in placed.group_by("base", "grade", maintain_order=True):
        total = summed(own["resin_volume"].to_numpy(), needed[own["row"].to_numpy()])
        yield {
            "base": base,
            "grade": grade,
            "tanks": own.height,
            "litres_mean": total.mean_l,
            "litres": total.quantile_l(level),
        }


def charges_needed(forecast: Forecast, places: Places, ends: Sequence[int]) -> Counts:
    """Return how many charges are loaded by the end of some days, (tanks, ends, scenarios) [1].

    Args:
        forecast: of the tanks.
        places: rows of ``forecast.tanks``, all with a forecast.
        ends: places on the axis of days, ascending.
    """
    parts = [
        _charges(forecast, places[start : start + TANKS_AT_ONCE], ends)
        for start in range(0, len(places), TANKS_AT_ONCE)
    ]
    return np.concatenate(parts) if parts else np.zeros((0, len(ends), 0), np.intp)


def _charges(forecast: Forecast, places: Places, ends: Sequence[int]) -> Counts:
    drawn_eq = forecast.demand.litres(places) * forecast.load_eq_l[places, np.newaxis]
    fresh = forecast.fresh_eq[places]
    # A charge that lets too much through from the start is loaded once, not without end.
    fresh = np.where(fresh > 0, fresh, np.inf)
    change_by = forecast.tanks["change_by"][places] - forecast.today
    planned = change_by.dt.total_days().fill_null(-1).to_numpy()[:, np.newaxis]
    used, life = np.zeros_like(fresh), forecast.left_eq[places]
    loaded, told = np.zeros(fresh.shape, np.intp), list[Counts]()
    for day in range(max(ends) + 1):
        early = (planned == day) & (loaded == 0)
        used, life = np.where(early, 0.0, used), np.where(early, fresh, life)
        used = used + drawn_eq[:, day]
        over = used >= life
        beyond = np.where(over, used - np.where(over, life, 0.0), 0.0)
        loaded = loaded + early + over + (beyond // fresh).astype(np.intp)
        used, life = np.where(over, beyond % fresh, used), np.where(over, fresh, life)
        if day in ends:
            told.append(loaded)
    return np.stack(told, axis=1)


@dataclass(frozen=True)
class Total:
    """The distribution of a sum of litres: the probability of each multiple of a step."""

    mean_l: float
    step_l: float
    chance: Floats

    def quantile_l(self, level: float) -> float:
        """Return the least litres that suffice with a probability of ``level`` [L]."""
        enough = np.cumsum(self.chance) >= level - SLACK
        return float(np.argmax(enough) * self.step_l) if enough.any() else self.most_l

    @property
    def most_l(self) -> float:
        """Return the most litres that any scenario takes [L]."""
        return float((len(self.chance) - 1) * self.step_l)


def summed(volumes_l: Floats, charges: Counts) -> Total:
    """Return the distribution of the litres that some tanks take together.

    Volumes are counted in steps of ``FINEST_L``, coarser ones where there would be too many;
    what lies between two steps is rounded up, so that no litre is missing.

    Args:
        volumes_l: of a charge of each tank [L].
        charges: how many each takes, (tanks, scenarios) [1].
    """
    steps = np.ceil(volumes_l / FINEST_L - SLACK * volumes_l).astype(np.int64)
    most = charges.max(axis=1)
    step = int(np.gcd.reduce(steps))
    if (steps // step * most).sum() > MOST_STEPS:
        step = int(-(-(steps * most).sum() // MOST_STEPS))
    widths = -(-steps // step)
    chance = np.ones(1)
    for width, own in zip(widths, charges, strict=True):
        chance = _folded(chance, int(width), np.bincount(own) / own.size)
    mean_l = float((volumes_l * charges.mean(axis=1)).sum())
    return Total(mean_l, step * FINEST_L, chance)


def _folded(chance: Floats, width: int, of_counts: Floats) -> Floats:
    """Return the distribution of a sum after one more tank, of which each charge adds a width."""
    found = np.zeros(len(chance) + width * (len(of_counts) - 1))
    for count, share in enumerate(of_counts):
        found[count * width : count * width + len(chance)] += share * chance
    return found
