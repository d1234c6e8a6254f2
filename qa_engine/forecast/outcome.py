"""What a forecast says of each tank, and the scenarios that it counts.

A scenario is one way in which things may go: a capacity and a sharpness of the bed that the
readings leave possible, a load of the water, and a run of days on which so much water is drawn.
All scenarios are equally likely, so that a probability is a share of them and an end of an interval
a place among them. The arrays have a row per tank, in the order of the frame ``tanks``.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import polars as pl

from qa_engine.depletion.model import Floats
from qa_engine.forecast.demand import Demand
from qa_engine.forecast.prices import Prices

TANKS: Mapping[str, pl.DataType | type[pl.DataType]] = {
    "tank": pl.String,
    "van": pl.String,
    "base": pl.String,
    "charge": pl.String,
    "grade": pl.String,
    "resin_volume": pl.Float64,
    "limit": pl.Float64,
    "limit_rule": pl.String,
    "limit_edition": pl.String,
    "at_limit": pl.Boolean,
    "readings": pl.Int64,
    "basis": pl.String,
    "load": pl.Float64,
    "equivalents_left_low": pl.Float64,
    "equivalents_left_median": pl.Float64,
    "equivalents_left_high": pl.Float64,
    "litres_left_low": pl.Float64,
    "litres_left_median": pl.Float64,
    "litres_left_high": pl.Float64,
    "days_observed": pl.Int64,
    "season": pl.Boolean,
    "litres_a_day": pl.Float64,
    "equivalents_a_day": pl.Float64,
    "litres_a_rinse": pl.Float64,
    "reached_low": pl.Date,
    "reached_median": pl.Date,
    "reached_high": pl.Date,
    "share_within": pl.Float64,
    "risk": pl.Float64,
    "change_by": pl.Date,
    "change_risk": pl.Float64,
    "least_cost_risk": pl.Float64,
    "least_cost_by": pl.Date,
    "why_not": pl.String,
}
"""The columns of ``Forecast.tanks``; ``Forecast`` says what they mean."""

RINSES: Mapping[str, pl.DataType | type[pl.DataType]] = {
    "tank": pl.String,
    "vehicle_class": pl.String,
    "water_per_rinse": pl.Float64,
    "low": pl.Float64,
    "median": pl.Float64,
    "high": pl.Float64,
}
"""The columns of ``Forecast.rinses``."""


@dataclass(frozen=True)
class Forecast:
    """What a forecast says.

    Low and high ends lie at 10 and 90 %, as the facts of learning do.

    Attributes:
        as_of: the instant of the forecast; nothing later was looked at.
        zone: the operator's time zone, in which days are counted.
        days: how many whole days after today it looks ahead.
        tanks: a row per tank that was known by then, sorted by tank; the columns ``TANKS``.

            ``van``, ``base``: where the tank works by the last record that names a van, else the
            register. ``charge``, ``grade``, ``resin_volume`` [L]: what is in it.
            ``limit`` [mg/L], ``limit_rule``, ``limit_edition``: the outlet TDS that ends the charge
            and the rule that says so. ``at_limit``: whether the last reading of the outlet on the
            charge has reached it, which is known even where nothing can be foretold.
            ``readings``: how many readings of this charge taught its capacity; ``basis``: what it
            is known from, as a phrase.
            ``load`` [eq/L]: what a litre of the last inlet water spends.
            ``equivalents_left_*`` [eq], ``litres_left_*`` [L]: until the outlet reaches the limit;
            null where that never happens, as with a limit above the inlet.
            ``days_observed``: past days that demand was taken from; ``season``: whether last year's
            was looked at; ``litres_a_day`` [L], ``equivalents_a_day`` [eq]: mean of these days,
            those without a rinse counted in; ``litres_a_rinse`` [L]: a vehicle, null if not known.
            ``reached_*``: the day on which the outlet reaches the limit, null where that is not
            within ``days``; ``share_within`` [1]: the probability that it is.
            ``risk`` [1]: the risk asked for; ``change_by``: the last day on whose morning the resin
            can be changed with no more risk than that, null where that day lies beyond ``days``;
            ``change_risk`` [1]: the probability that the limit is reached before that day.
            ``least_cost_risk`` [1], ``least_cost_by``: the risk that costs least, and its day; null
            without prices.
            ``why_not``: why there is no forecast, a key of ``whynot.WHY_NOT``; null if there is.
            What is known all the same stays told, such as the litres left of an idle tank.
        rinses: vehicles left per tank and class of the register, by the class's water, in the order
            of (tank, class); the columns ``RINSES``. Only tanks with a forecast.
        left_eq: equivalents until the outlet reaches the limit, shape (tanks, scenarios) [eq]; 0
            where it has, infinite where it never does, NaN where nothing is known.
        fresh_eq: the same for a charge of the same grade and volume when it is fresh, which the
            next charge is taken to be [eq].
        load_eq_l: what a litre of water spends, shape (tanks, scenarios) [eq/L].
        demand: the water drawn, day by day; ``demand.litres(rows)`` has the shape (rows, 1 +
            ``days``, scenarios), its first day the rest of today [L].
        prices: what things cost; None if nobody said.
        notes: what the reader should know of it, a sentence each.
    """

    as_of: datetime
    zone: ZoneInfo
    days: int
    tanks: pl.DataFrame
    rinses: pl.DataFrame
    left_eq: Floats
    fresh_eq: Floats
    load_eq_l: Floats
    demand: Demand
    prices: Prices | None = None
    notes: tuple[str, ...] = ()

    @property
    def today(self) -> date:
        """Return the day of the forecast."""
        return self.as_of.astimezone(self.zone).date()

    def day(self, place: int) -> date:
        """Return the day at a place of the axis of days; 0 is today."""
        return self.today + timedelta(days=place)

    @property
    def forecast(self) -> pl.Series:
        """Return whether there is a forecast, tank by tank."""
        return self.tanks["why_not"].is_null()
