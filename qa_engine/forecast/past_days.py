"""What each tank gave on each of its past days, in the operator's days, and what last year tells.

A day is known if the tank was on record by then and the water of all its rinses is known. A day
without a rinse counts as one without demand, unless the tank or its van was out of use.
"""

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import polars as pl
from numpy.typing import NDArray

from qa_engine.depletion.model import Floats
from qa_engine.facts.days import local_day
from qa_engine.facts.past import Past
from qa_engine.facts.use_facts import USE_FACTS
from qa_engine.history import logged_van
from qa_engine.register import day_start

RECENT = 84
"""How many past days demand is taken from: twelve weeks [d]."""

YEAR = 364
"""A year of whole weeks, so that last year's Monday is a Monday [d]."""

LONGEST = YEAR + RECENT
"""How many past days are looked at [d]."""

SEASON_REACH = 21
"""So many days to both sides of a day of last year tell its season [d]."""

LEAST_OF_YEAR_BEFORE = 28
"""So many days of last year's counterpart of the recent days must be known [d]."""

LEAST_AROUND = 14
"""So many days must be known around a day of last year [d]."""

SHRINK = 14.0
"""Days of the year's mean that each season is mixed with [d]."""

MOST_SEASON = 3.0
"""By no more than this factor a season changes demand, up or down [1]."""

GREATEST_WANDER = 0.5
"""The most that the load of a water is taken to wander, as sd of its logarithm [1]."""


@dataclass(frozen=True)
class PastDays:
    """The past days of some tanks; every array has a row per tank.

    Attributes:
        litres: water of each day, shape (tanks, ``LONGEST``), the last one yesterday [L].
        today_l: what was drawn today so far [L].
        litres_a_rinse: water of a vehicle over the recent days, NaN where not known [L].
        wander: how far the load of the water lay from its last value, as sd of the logarithm [1].
    """

    litres: Floats
    today_l: Floats
    litres_a_rinse: Floats
    wander: Floats

    @property
    def recent(self) -> Floats:
        """Return the water of the days that demand is taken from [L]."""
        return self.litres[:, -RECENT:]

    def season(self, days: int) -> tuple[Floats, NDArray[np.bool_]]:
        """Return by how much demand of today and coming days differs from the recent one's.

        It is last year's demand around that day, over that of last year's counterpart of the
        recent days, both mixed with some days of the mean. 1 where last year is not known.

        Returns:
            Factors of the shape (tanks, 1 + days) [1], and per tank whether last year was known.
        """
        year_before = self.litres[:, : LONGEST - YEAR]
        mean = _mean(self.litres[:, :-RECENT], 0.0, np.zeros(len(self.litres)))
        then = _mean(year_before, SHRINK, mean)
        enough = (~np.isnan(year_before)).sum(axis=1) >= LEAST_OF_YEAR_BEFORE
        factors = np.ones((len(self.litres), 1 + days))
        for day in range(1 + days):
            middle = LONGEST - YEAR + day
            around = self.litres[:, max(middle - SEASON_REACH, 0) : middle + SEASON_REACH + 1]
            known = enough & ((~np.isnan(around)).sum(axis=1) >= LEAST_AROUND) & (then > 0)
            ratio = _mean(around, SHRINK, mean) / np.where(then > 0, then, 1.0)
            factors[:, day] = np.where(known, np.clip(ratio, 1 / MOST_SEASON, MOST_SEASON), 1.0)
        return factors, enough & (then > 0)


def _mean(litres: Floats, more: float, of: Floats) -> Floats:
    """Return the mean of known days and of ``more`` days that are like ``of``."""
    known = (~np.isnan(litres)).sum(axis=1) + more
    total = np.nansum(litres, axis=1) + more * of
    mean = np.zeros(len(litres))
    np.divide(total, known, out=mean, where=known > 0)
    return mean


def past_days(tanks: pl.Series, load_eq_l: pl.Series, past: Past) -> PastDays:
    """Return the past days of tanks, in their order.

    Args:
        tanks: ids, each once.
        load_eq_l: what a litre of the last inlet water of each spends [eq/L], null if unknown.
        past: the records.
    """
    today = past.as_of.astimezone(past.register.zone).date()
    placed = tanks.alias("tank").to_frame().with_row_index("row")
    rinses = _rinses(placed.with_columns(load_eq_l.alias("now")), past, today)
    litres, unknown = _by_day(rinses, len(tanks))
    before = _unseen(placed, past, today)
    before = np.where(litres[:, :-1] > 0, litres[:, :-1], before)
    before[unknown[:, :-1] > 0] = np.nan
    recent = rinses.filter(pl.col("ago").is_between(1, RECENT))
    return PastDays(before, litres[:, -1], *_of_rinses(recent, len(tanks)))


def _rinses(placed: pl.DataFrame, past: Past, today: date) -> pl.DataFrame:
    """Return the rinses of the days that are looked at, with ``row`` and ``ago``, in order."""
    usage = past.usage
    rinses = usage.select(
        "tank", "water", "rinses", "load_eq_l", day=local_day(usage["at"], past.register.zone)
    )
    rinses = rinses.with_columns((pl.lit(today) - pl.col("day")).dt.total_days().alias("ago"))
    rinses = rinses.filter(pl.col("ago") <= LONGEST)
    return rinses.join(placed, on="tank", how="inner", maintain_order="left")


def _by_day(rinses: pl.DataFrame, tanks: int) -> tuple[Floats, Floats]:
    """Return the water of each day up to today [L], and how many rinses lack theirs."""
    shape = (tanks, LONGEST + 1)
    place = rinses["row"].to_numpy() * shape[1] + (LONGEST - rinses["ago"].to_numpy())
    water = rinses["water"].to_numpy()
    known = ~np.isnan(water)
    litres, unknown = (
        np.bincount(place[which], weights, shape[0] * shape[1]).reshape(shape)
        for which, weights in ((known, water[known]), (~known, None))
    )
    return litres.astype(np.float64), unknown.astype(np.float64)


def _of_rinses(rinses: pl.DataFrame, tanks: int) -> tuple[Floats, Floats]:
    """Return the water of a vehicle, and how far the load wandered, tank by tank."""
    off = (pl.col("load_eq_l").log() - pl.col("now").log()).alias("off")
    row, water, count, off_log = rinses.select("row", "water", "rinses", off)
    whole = (water.is_not_null() & count.is_not_null()).to_numpy()
    a_rinse = _quotient(row.to_numpy(), water.to_numpy(), count.to_numpy(), whole, tanks)
    a_rinse[a_rinse <= 0] = np.nan
    squares = off_log.to_numpy() ** 2
    variance = _quotient(
        row.to_numpy(), squares, np.ones(len(squares)), np.isfinite(squares), tanks
    )
    return a_rinse, np.minimum(np.sqrt(np.nan_to_num(variance)), GREATEST_WANDER)


def _quotient(
    row: NDArray[np.uint32], above: Floats, below: Floats, counts: NDArray[np.bool_], tanks: int
) -> Floats:
    """Return the sum of one column over that of another, tank by tank; NaN where there is none.

    Numbers are added up in the order of the records, so that their digits are the same whichever
    tanks are done together.
    """
    over = np.bincount(row[counts], above[counts], tanks)
    under = np.bincount(row[counts], below[counts], tanks)
    found = np.full(tanks, np.nan)
    np.divide(over, under, out=found, where=under > 0)
    return found


def _unseen(placed: pl.DataFrame, past: Past, today: date) -> Floats:
    """Return 0 for days on which a tank was there to be used, NaN for others."""
    first = past.charges.group_by("tank").agg(pl.col("since").min())
    since = placed.join(first, on="tank", how="left", maintain_order="left")["since"]
    begun = local_day(since, past.register.zone).alias("day").to_frame()
    begun_ago = begun.select((pl.lit(today) - pl.col("day")).dt.total_days().cast(pl.Float64))
    first_ago = begun_ago.to_series().to_numpy()
    days_ago = np.arange(LONGEST, 0, -1)
    # A tank without records begins nowhere, and NaN compares as false.
    seen = days_ago <= first_ago[:, np.newaxis]
    return np.where(seen & ~_out(placed, past, today, seen.shape), 0.0, np.nan)


def _out(
    placed: pl.DataFrame, past: Past, today: date, shape: tuple[int, ...]
) -> NDArray[np.bool_]:
    """Return whether each tank was out of use at the end of each past day."""
    if past.history.of("out_of_use", "item").is_empty():
        return np.zeros(shape, bool)
    zone = past.register.zone
    ends = [day_start(today - timedelta(days=n - 1), zone) for n in range(LONGEST, 0, -1)]
    at = pl.Series("at", ends, pl.Datetime("us", "UTC")) - timedelta(microseconds=1)
    asked = placed.select("tank").join(at.to_frame(), how="cross", maintain_order="left_right")
    asked = asked.with_columns(
        logged_van(asked, past.history).alias("van"), pl.lit(None, pl.String).alias("meter")
    )
    out = USE_FACTS[0].find(asked, past)["out_of_use"].fill_null(value=False)
    return out.to_numpy().reshape(shape)
