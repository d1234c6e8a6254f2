"""Whether each van gets through its booked jobs, and what would do where it does not.

The list is taken for all the work of the vans that it names: work that is not in it comes on top.
A day's jobs count as done together, at its end, and today's as still to be done. A van gets
through while the outlet of none of its tanks has reached its limit. The capacities of two tanks
say nothing of each other, so their probabilities are multiplied. A tank without a limit, such as
a softening bed ahead of the others, is left aside as long as another one has one.
"""

from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
import polars as pl

from qa_engine.depletion.model import Floats
from qa_engine.forecast.outcome import Forecast
from qa_engine.forecast.shares import shares_of
from qa_engine.register import Register

SLACK = 1e-12
ENDLESS = ("softening bed", "no limit")
"""The reasons of ``whynot.WHY_NOT`` for which the outlet of a tank ends no job."""

NO_TANK = "no tank"
"""Why nothing can be said of a van in which no tank is known to stand."""

ORDER = ("van", "date", "job", "vehicle_class", "count", "litres")
JOBS: dict[str, Any] = {
    "date": pl.Date,
    "van": pl.String,
    "job": pl.String,
    "vehicle_class": pl.String,
    "count": pl.Float64,
    "litres": pl.Float64,
    "van_litres": pl.Float64,
    "gets_through": pl.Float64,
    "tank": pl.String,
    "tank_litres": pl.Float64,
    "litres_left_low": pl.Float64,
    "litres_left_median": pl.Float64,
    "at_risk": pl.Boolean,
    "why_not": pl.String,
}
CHANGES: dict[str, Any] = {
    "van": pl.String,
    "tank": pl.String,
    "before": pl.Date,
    "grade": pl.String,
    "resin_volume": pl.Float64,
    "gets_through": pl.Float64,
    "enough": pl.Boolean,
}
DAYS: dict[str, Any] = {
    name: dtype
    for name, dtype in JOBS.items()
    if name not in ("job", "vehicle_class", "count", "litres")
}


@dataclass(frozen=True)
class Bookings:
    """What becomes of the booked jobs.

    Attributes:
        jobs: a row per job from today on, sorted by ``ORDER``.
            ``litres``: what it takes; ``van_litres``: what the van's jobs take until the end of
            that day [L]. ``gets_through``: the probability that the van does until then, null
            where not known [1]. ``tank``: the one that is least likely to hold, or of which
            nothing is known; ``tank_litres``: what that one is asked for until then;
            ``litres_left_low``, ``litres_left_median``: what it has left until its outlet reaches
            the limit [L]. ``at_risk``: whether it is not so likely as was asked for. ``why_not``:
            why nothing is known, as in ``Forecast.tanks``, or ``NO_TANK``.
        changes: the resin changes that would do, sorted by (van, before, tank): change ``tank``
            before the day ``before``, for which ``resin_volume`` [L] of ``grade`` is needed; then
            the van ``gets_through`` that day [1]. ``enough`` is false where it does not even
            then, and resin for a change between the jobs of the day would have to go along.
        risk: the risk that was asked for [1].
        before_today: jobs of the list that lie before today, and are not looked at.
    """

    jobs: pl.DataFrame
    changes: pl.DataFrame
    risk: float
    before_today: int

    @property
    def first_at_risk(self) -> pl.DataFrame:
        """Return the jobs of the first day on which each van is at risk."""
        risky = self.jobs.filter("at_risk")
        return risky.filter(pl.col("date") == pl.col("date").min().over("van"))


def bookings_of(
    forecast: Forecast, jobs: pl.DataFrame, register: Register, risk: float
) -> Bookings:
    """Return whether each van gets through its booked jobs.

    Args:
        forecast: of the tanks.
        jobs: as ``intake.read_jobs`` returns them, in any order.
        register: says which tank stands behind which.
        risk: a van is at risk where it gets through with less than 1 - risk.
    """
    coming = jobs.filter(pl.col("date") >= forecast.today).sort(ORDER)
    told, changes = [pl.DataFrame(schema=DAYS)], [pl.DataFrame(schema=CHANGES)]
    shares = shares_of(forecast, register)
    for (van,), own in coming.group_by("van", maintain_order=True):
        work = _work(own, shares.filter(pl.col("van") == van), forecast)
        told.append(_days(str(van), work, risk))
        changes.append(_changes(str(van), work, risk))
    days = pl.concat(told)
    return Bookings(
        coming.join(days, on=["van", "date"], how="left", maintain_order="left").select(*JOBS),
        pl.concat(changes).sort("van", "before", "tank"),
        risk,
        jobs.height - coming.height,
    )


@dataclass(frozen=True)
class _Work:
    """The work of a van, and what its tanks can take up.

    Attributes:
        days: the days with jobs, in order.
        litres: what they take up to the end of each, shape (days,) [L].
        tanks: the tanks that its water runs through, a row each of ``forecast.tanks``.
        tank_litres: what runs through each, shape (tanks, days) [L].
        load: what a litre spends, shape (tanks, scenarios) [eq/L].
        left, fresh: equivalents to the limit, now and when fresh, shape (tanks, scenarios) [eq].
    """

    days: list[date]
    litres: Floats
    tanks: pl.DataFrame
    tank_litres: Floats
    load: Floats
    left: Floats
    fresh: Floats

    def spent(self, day: int) -> Floats:
        """Return what each tank is asked for until the end of a day, (tanks, scenarios) [eq]."""
        return self.tank_litres[:, day, np.newaxis] * self.load


def _work(jobs: pl.DataFrame, shares: pl.DataFrame, forecast: Forecast) -> _Work:
    by_day = jobs.group_by("date").agg(pl.col("litres").sum()).sort("date")
    litres = by_day["litres"].cum_sum().to_numpy()
    ends = forecast.tanks["why_not"].is_in(ENDLESS).fill_null(value=False)
    limited = shares.filter(~ends[shares["place"]])
    shares = limited if limited.height else shares
    places = shares["place"].to_numpy().astype(np.intp)
    return _Work(
        by_day["date"].to_list(),
        litres,
        forecast.tanks[places],
        shares["share"].to_numpy()[:, np.newaxis] * litres,
        forecast.load_eq_l[places],
        forecast.left_eq[places],
        forecast.fresh_eq[places],
    )


def _held(spent: Floats, left: Floats) -> Floats:
    """Return the probability that each tank holds, NaN where anything is unknown [1]."""
    unknown = np.isnan(spent + left).any(axis=1)
    return np.where(unknown, np.nan, (spent < left).mean(axis=1))


def _days(van: str, work: _Work, risk: float) -> pl.DataFrame:
    """Return what becomes of each day of a van, the columns ``DAYS``."""
    rows = [_day(van, work, day, risk) for day in range(len(work.days))]
    return pl.DataFrame(rows, schema=DAYS)


def _day(van: str, work: _Work, day: int, risk: float) -> dict[str, Any]:
    row = {"van": van, "date": work.days[day], "van_litres": float(work.litres[day])}
    if work.tanks.is_empty():
        return {**row, "why_not": NO_TANK}
    held = _held(work.spent(day), work.left)
    worst = int(np.argmin(np.where(np.isnan(held), -1.0, held)))
    through = float(held.prod())
    known = not np.isnan(through)
    tank = work.tanks.row(worst, named=True)
    return {
        **row,
        "gets_through": through if known else None,
        "tank": tank["tank"],
        "tank_litres": float(work.tank_litres[worst, day]),
        "litres_left_low": tank["litres_left_low"],
        "litres_left_median": tank["litres_left_median"],
        "at_risk": not _likely(through, risk) if known else None,
        "why_not": None if known else tank["why_not"],
    }


def _likely(chance: float, risk: float) -> bool:
    return chance >= 1 - risk - SLACK


def _changes(van: str, work: _Work, risk: float) -> pl.DataFrame:
    """Return the changes that get a van through, each as late as will do; ``CHANGES``."""
    rows: list[dict[str, Any]] = []
    left, before = work.left.copy(), np.zeros_like(work.left)
    for day in range(len(work.days)):
        spent = work.spent(day)
        begun = work.spent(day - 1) if day else np.zeros_like(spent)
        renewed: list[int] = []
        while not _likely_or_unknown(held := _held(spent - before, left), risk):
            worst = _weakest(held, renewed)
            if worst is None:
                break
            renewed.append(worst)
            left[worst], before[worst] = work.fresh[worst], begun[worst]
        through = float(held.prod())
        enough = _likely(through, risk)
        then = {"before": work.days[day], "gets_through": through, "enough": enough}
        rows += [{**_resin(work.tanks, place), "van": van, **then} for place in renewed]
    return pl.DataFrame(rows, schema=CHANGES)


def _likely_or_unknown(held: Floats, risk: float) -> bool:
    through = float(held.prod())
    return np.isnan(through) or _likely(through, risk)


def _weakest(held: Floats, renewed: list[int]) -> int | None:
    """Return the tank least likely to hold of those not yet changed that day."""
    open_ = [place for place in range(len(held)) if place not in renewed]
    return min(open_, key=lambda place: float(held[place])) if open_ else None


def _resin(tanks: pl.DataFrame, place: int) -> dict[str, Any]:
    """Return a tank and the resin that a change of it takes."""
    return tanks.select("tank", "grade", "resin_volume").row(place, named=True)
