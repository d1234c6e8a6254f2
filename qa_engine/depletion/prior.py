"""What is believed of a charge's capacity and sharpness before its outlet has been read.

The spread that a grade declares is split in two: between tanks (the water whose load is not fully
known, how the tank is filled and run) and between the charges of one tank (lots of resin). How
much is which nobody publishes, so three splits are carried along and the charges of a tank tell
which one fits: common practice, no published source.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property

import numpy as np

from qa_engine.depletion.model import Capacity, Floats, Grade

CAPACITY_POINTS, UNITS_POINTS = 53, 7
CAPACITY_REACH, UNITS_REACH = 3.5, 2.1
"""How far the grid goes to both sides, in standard deviations of the grade's prior [1]."""

CHARGE_SHARES = (0.2, 0.4, 0.7)
"""Standard deviation between a tank's charges over that of the grade, each as likely [1]."""

UNITS_CHARGE_SHARE = 0.6
"""The same for transfer units, which also follow the season and the flow [1]."""

CURVE_SD = 0.5
"""How far the logarithm of the outlet may be off throughout a charge, as standard deviation [1].

What leaks first reads as acid, from about the salt it came from (bicarbonate) to 3.4 times that
(chloride: conductances of 426 against 126 S cm2/eq), and few waters have been analysed for
bicarbonate. A model's assumption and the truth both lie anywhere within ln 3.4 = 1.2 of each other;
such a difference has the standard deviation 1.2 / sqrt(6). All readings of a charge share it, so
that no number of them makes it smaller. No published source for its size.
"""

STRANGERS = 0.01
"""Share of charges that have nothing to do with the tank's earlier ones: not what was logged.

They follow the grade. No published source; it keeps one wrong record from ruling all that follow.
"""

LEAST_SPREAD = 0.005
"""A capacity declared to be known better than this is not believed: nobody weighs resin so [1]."""


@dataclass(frozen=True)
class DatedPrior:
    """What is believed of a grade's capacity from an instant on, in place of what it declares.

    This is the only way in which what other tanks taught comes in: whoever states it says from
    when it was known, so that nothing is judged by what came to light later.

    Attributes:
        grade: the grade by name.
        holds_from: tanks whose first charge of the grade and water begins then or later.
        capacity: what is believed, with its source.
    """

    grade: str
    holds_from: datetime
    capacity: Capacity


@dataclass(frozen=True)
class LogNormal:
    """The logarithm of a positive number: its mean and standard deviation."""

    mean: float
    sd: float

    @classmethod
    def of_capacity(cls, capacity: Capacity) -> "LogNormal":
        """Return the lognormal distribution of this mean and standard deviation [eq/L]."""
        relative = max(capacity.sd_eq_l / capacity.mean_eq_l, LEAST_SPREAD)
        variance = math.log1p(relative**2)
        return cls(math.log(capacity.mean_eq_l) - variance / 2, math.sqrt(variance))

    def grid(self, points: int, reach: float) -> Floats:
        """Return evenly spaced points around the mean."""
        return self.mean + self.sd * np.linspace(-reach, reach, points)

    def weights(self, points: Floats) -> Floats:
        """Return the weights of points, summing up to 1."""
        weights = np.exp(-0.5 * ((points - self.mean) / self.sd) ** 2)
        return np.asarray(weights / weights.sum(), np.float64)


@dataclass(frozen=True)
class GradePrior:
    """The grid for charges of one grade, and how the charges of a tank hang together.

    Shapes: ``mu`` is a tank's own mean on the grid of log capacity, ``nu`` on that of log transfer
    units; a charge scatters about them. Beliefs about a tank have the shape (splits, nu, mu),
    those about a charge (units, capacity).
    """

    grade: Grade

    @cached_property
    def capacity(self) -> LogNormal:
        return LogNormal.of_capacity(self.grade.capacity)

    @cached_property
    def units(self) -> LogNormal:
        sharpness = self.grade.sharpness
        return LogNormal(math.log(sharpness.transfer_units), max(sharpness.sd_log, LEAST_SPREAD))

    @cached_property
    def log_capacity(self) -> Floats:
        """Return the points of the logarithm of capacity in eq/L."""
        return self.capacity.grid(CAPACITY_POINTS, CAPACITY_REACH)

    @cached_property
    def log_units(self) -> Floats:
        """Return the points of the logarithm of transfer units."""
        return self.units.grid(UNITS_POINTS, UNITS_REACH)

    @property
    def points(self) -> int:
        """Return how many pairs of transfer units and capacity the grid has."""
        return len(self.log_units) * len(self.log_capacity)

    @cached_property
    def curve_kernel(self) -> Floats:
        """Return how far a curve that is off throughout moves capacity, odd, summing up to 1."""
        sd = CURVE_SD / self.grade.sharpness.transfer_units
        step = float(self.log_capacity[1] - self.log_capacity[0])
        reach = math.ceil(3.0 * sd / step)
        return LogNormal(0.0, sd).weights(np.arange(-reach, reach + 1, dtype=np.float64) * step)

    @cached_property
    def scatter(self) -> Floats:
        """Return how a charge's capacity scatters about mu, shape (splits, mu, capacity)."""
        return np.stack([_scatter(self.log_capacity, s * self.capacity.sd) for s in CHARGE_SHARES])

    @cached_property
    def units_scatter(self) -> Floats:
        """Return how a charge's transfer units scatter about nu, shape (nu, units)."""
        return _scatter(self.log_units, UNITS_CHARGE_SHARE * self.units.sd)

    @cached_property
    def stranger(self) -> Floats:
        """Return the grade's own prior of a charge, shape (units, capacity)."""
        units, capacity = (
            one.weights(points)
            for one, points in ((self.units, self.log_units), (self.capacity, self.log_capacity))
        )
        return np.asarray(np.multiply.outer(units, capacity), np.float64)

    def of_tank(self, capacity: Capacity | None = None) -> Floats:
        """Return what is believed of a tank without charges, of a capacity or the grade's own."""
        believed = LogNormal.of_capacity(capacity) if capacity else self.capacity
        own = _between(self.units, UNITS_CHARGE_SHARE * self.units.sd).weights(self.log_units)
        by_split = [
            _between(believed, share * self.capacity.sd).weights(self.log_capacity)
            for share in CHARGE_SHARES
        ]
        return np.stack([np.multiply.outer(own, one) for one in by_split]) / len(CHARGE_SHARES)

    def of_charge(self, tanks: Floats) -> Floats:
        """Return the prior of the next charge of each tank, shape (tanks, units, capacity)."""
        # One small product per tank: its digits do not hang on which tanks are asked with it.
        scattered = np.matmul(tanks, self.scatter)
        found: Floats = np.matmul(self.units_scatter.T, _summed(scattered))
        return (1.0 - STRANGERS) * found + STRANGERS * self.stranger

    def after(self, tanks: Floats, likelihood: Floats) -> Floats:
        """Return what is believed of tanks after a charge each, whose readings are this likely.

        Args:
            tanks: what was believed before, shape (tanks, splits, nu, mu).
            likelihood: of all readings of the charge, shape (tanks, units, capacity).
        """
        seen = np.matmul(self.units_scatter, likelihood)[:, np.newaxis]
        weights: Floats = np.matmul(seen, self.scatter.transpose(0, 2, 1))
        weights *= 1.0 - STRANGERS
        of_stranger = (self.stranger * likelihood).sum(axis=(1, 2))
        weights += STRANGERS * of_stranger[:, np.newaxis, np.newaxis, np.newaxis]
        weights *= tanks
        weights /= weights.sum(axis=(1, 2, 3), keepdims=True)
        return weights


def _between(whole: LogNormal, between_charges: float) -> LogNormal:
    """Return the part of a spread that lies between tanks, a tenth of it at the least."""
    variance = whole.sd**2 - between_charges**2
    return LogNormal(whole.mean, math.sqrt(max(variance, (0.1 * whole.sd) ** 2)))


def _scatter(points: Floats, sd: float) -> Floats:
    return np.stack([LogNormal(point, sd).weights(points) for point in points])


def _summed(by_split: Floats) -> Floats:
    total = by_split[:, 0].copy()
    for split in range(1, by_split.shape[1]):
        total += by_split[:, split]
    return total


def can_be_learnt(grade: Grade) -> bool:
    """Tell whether a grade states a capacity and a sharpness that there can be."""
    capacity, sharpness = grade.capacity, grade.sharpness
    above = (capacity.mean_eq_l, sharpness.transfer_units)
    spreads = (capacity.sd_eq_l, sharpness.sd_log)
    sound = all(math.isfinite(number) for number in (*above, *spreads))
    return sound and min(above) > 0 and min(spreads) >= 0


def capacity_at(priors: Sequence[DatedPrior], grade: str, at: datetime) -> Capacity | None:
    """Return the capacity of the last dated prior of a grade that holds at an instant."""
    known = [prior for prior in priors if prior.grade == grade and prior.holds_from <= at]
    return max(known, key=lambda prior: prior.holds_from).capacity if known else None
