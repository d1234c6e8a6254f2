"""The forecast: how the tanks stand, what they will be asked for, and when it is used up.

Like an inspection it is a pure function of records, register, rules, plugins and an instant. Tanks
say nothing of each other, so that blocks of them can be looked at anywhere and in any order.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from importlib.metadata import EntryPoint

import numpy as np
import polars as pl

from qa_engine.depletion.model import Floats
from qa_engine.facts.past import Past
from qa_engine.forecast.bed_left import SCENARIOS, BedLeft, bed_left
from qa_engine.forecast.dates import dates_of
from qa_engine.forecast.demand import Demand
from qa_engine.forecast.draws import Wholes, seeds_of
from qa_engine.forecast.limits import EndingLimit, ending_limits
from qa_engine.forecast.notes import notes_of
from qa_engine.forecast.outcome import RINSES, TANKS, Forecast
from qa_engine.forecast.past_days import PastDays, past_days
from qa_engine.forecast.prices import Prices
from qa_engine.forecast.quantiles import ends_of
from qa_engine.forecast.standing import Standing, standing_of
from qa_engine.history import valid_rows
from qa_engine.inspection import Assignment, Course, RuleSources, with_what_works
from qa_engine.plugin_host import PluginHost

ENDS = ("low", "median", "high")

LEAST_DAYS = 7
"""Fewer known days say nothing of a tank's demand [d]."""


@dataclass(frozen=True)
class Wish:
    """What is asked of a forecast.

    Attributes:
        days: how many whole days after today to look ahead.
        risk: the probability of reaching the limit before the change that is taken, at least 0 and
            below 1; None for the one that costs least, or ``dates.ASSUMED_RISK`` where that is
            not known.
        prices: what things cost, None if nobody said.
    """

    days: int
    risk: float | None = None
    prices: Prices | None = None


def forecast(
    assignment: Assignment,
    entries: Iterable[EntryPoint],
    rules: Callable[[PluginHost], RuleSources],
    wish: Wish,
) -> Forecast:
    """Return the forecast for all tanks that were known by then.

    Args:
        assignment: records, register and the instant; its period and permissions are not used.
        entries: the plugins to load.
        rules: gives the rule files, once it is known which plugins work.
        wish: what is asked.

    Raises:
        RuleSetError: a rule file cannot be used.
    """
    return with_what_works(assignment, entries, rules, lambda course: forecast_by(course, wish))


def forecast_by(course: Course, wish: Wish) -> Forecast:
    """Return the forecast of a course: with the rules and plugins that work."""
    task = course.assignment
    history = course.history
    today = task.as_of.astimezone(task.register.zone).date()
    limits = ending_limits(course.editions, today)
    parts = [
        _part(course, course.past(block), limits, wish) for block in history.blocks(task.blocks)
    ]
    found = Forecast(
        as_of=task.as_of,
        zone=task.register.zone,
        days=wish.days,
        tanks=pl.concat(part.tanks for part in parts),
        rinses=pl.concat(part.rinses for part in parts),
        left_eq=np.concatenate([part.left.left_eq for part in parts]),
        fresh_eq=np.concatenate([part.left.fresh_eq for part in parts]),
        load_eq_l=np.concatenate([part.left.load_eq_l for part in parts]),
        demand=_joined([part.demand for part in parts]),
        prices=wish.prices,
    )
    return notes_of(found, wish.risk, course.host.plugins)


@dataclass(frozen=True)
class _Part:
    """The forecast of one block of tanks."""

    tanks: pl.DataFrame
    rinses: pl.DataFrame
    left: BedLeft
    demand: Demand


def _part(course: Course, past: Past, limits: tuple[EndingLimit, ...], wish: Wish) -> _Part:
    standing = standing_of(past, limits, course.catalogue)
    days = past_days(standing.tanks["tank"], standing.tanks["load"], past)
    left = bed_left(standing, days.wander, past)
    factors, seasonal = days.season(wish.days)
    demand = Demand(_seeds(standing.tanks["tank"]), days.recent, factors, days.today_l, SCENARIOS)
    litres = _litres_left(left)
    tanks = standing.tanks.with_columns(
        *_ends("equivalents_left", left.left_eq),
        *_ends("litres_left", litres),
        *_observed(days, standing),
        pl.Series("season", seasonal),
        pl.lit(past.as_of.astimezone(past.register.zone).date()).alias("today"),
    )
    tanks = tanks.with_columns(_why_not(tanks, standing))
    tanks = tanks.with_columns(*dates_of(tanks, left, demand, wish.risk, wish.prices))
    columns = (pl.col(name).cast(dtype) for name, dtype in TANKS.items())
    return _Part(tanks.select(columns), _rinses(tanks, litres, past), left, demand)


def _seeds(tanks: pl.Series) -> Wholes:
    return np.stack([seeds_of(tanks, purpose) for purpose in ("weights", "days")], axis=1)


def _litres_left(left: BedLeft) -> Floats:
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(left.left_eq / left.load_eq_l, np.float64)


def _ends(name: str, scenarios: Floats) -> list[pl.Series]:
    found = ends_of(scenarios)
    return [pl.Series(f"{name}_{e}", found[:, n], nan_to_null=True) for n, e in enumerate(ENDS)]


def _observed(days: PastDays, standing: Standing) -> list[pl.Series]:
    known = (~np.isnan(days.recent)).sum(axis=1)
    with np.errstate(invalid="ignore"):
        litres = np.nansum(days.recent, axis=1) / np.where(known > 0, known, np.nan)
    return [
        pl.Series("days_observed", known, pl.Int64),
        pl.Series("litres_a_day", litres, nan_to_null=True),
        pl.Series(
            "equivalents_a_day", litres * standing.tanks["load"].to_numpy(), nan_to_null=True
        ),
        pl.Series("litres_a_rinse", days.litres_a_rinse, nan_to_null=True),
    ]


def _why_not(tanks: pl.DataFrame, standing: Standing) -> pl.Series:
    few = pl.when(pl.col("days_observed") < LEAST_DAYS).then(pl.lit("few days"))
    idle = pl.when(pl.col("litres_a_day") == 0).then(pl.lit("not in demand"))
    return tanks.with_columns(standing.why_not()).select(
        pl.coalesce("why_not", few, idle).alias("why_not")
    )["why_not"]


def _rinses(tanks: pl.DataFrame, litres: Floats, past: Past) -> pl.DataFrame:
    """Return the vehicles left per tank and class of the register."""
    classes = past.register.table("vehicle_classes").select("vehicle_class").unique()
    asked = classes.with_columns(pl.lit(past.as_of).alias("at")).sort("vehicle_class")
    water = valid_rows(asked, past.register, "vehicle_classes", ["water_per_rinse"])
    classes = (
        asked.select("vehicle_class").with_columns(water).filter(pl.col("water_per_rinse") > 0)
    )
    ends = tanks.select("tank", "why_not", *(f"litres_left_{end}" for end in ENDS))
    known = ends.filter(pl.col("why_not").is_null())
    rows = known.join(classes, how="cross", maintain_order="left_right")
    # In numpy, since polars takes a short cut through the reciprocal where there is but one row.
    water_l = rows["water_per_rinse"].to_numpy()
    ends_l = {end: rows[f"litres_left_{end}"].to_numpy() for end in ENDS}
    return rows.with_columns(
        pl.Series(end, litres_left / water_l, pl.Float64, nan_to_null=True)
        for end, litres_left in ends_l.items()
    ).select(*RINSES)


def _joined(parts: list[Demand]) -> Demand:
    return Demand(
        np.concatenate([part.seeds for part in parts]),
        np.concatenate([part.past_l for part in parts]),
        np.concatenate([part.season for part in parts]),
        np.concatenate([part.today_l for part in parts]),
        SCENARIOS,
    )
