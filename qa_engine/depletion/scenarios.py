"""Equally likely scenarios: pairs of capacity and transfer units that stand for what is believed.

A forecast runs each scenario through the model and counts. The scenarios are no random draws: they
lie at fixed shares of the weight, so that the same records give the same forecast.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qa_engine.depletion.model import Floats
from qa_engine.depletion.posterior import quantiles
from qa_engine.depletion.prior import GradePrior

Places = NDArray[np.intp]

COUNT = 64
"""Scenarios for each step, a power of 2 [1]."""

MIDDLES = (np.arange(COUNT) + 0.5) / COUNT
"""Shares of the weight at which scenarios lie [1]."""


def _reversed_bits(count: int) -> Floats:
    """Return the middles in the order of their places read backwards in binary digits.

    Neighbours are far apart, so paired with the middles they cover the square evenly.
    """
    bits = count.bit_length() - 1
    places = [int(format(place, f"0{bits}b")[::-1], 2) for place in range(count)]
    return np.asarray(MIDDLES[places], np.float64)


SPREAD = _reversed_bits(COUNT)


@dataclass(frozen=True)
class Scenarios:
    """Equally likely pairs, both arrays of the shape (rows, ``COUNT``), NaN where unknown.

    Attributes:
        capacity_eq_l: capacity of a litre of resin, ascending in each row [eq/L].
        transfer_units: how sharp the breakthrough is [1].
    """

    capacity_eq_l: Floats
    transfer_units: Floats

    @classmethod
    def unknown(cls, rows: int) -> "Scenarios":
        """Return scenarios of which nothing is known."""
        return cls(np.full((rows, COUNT), np.nan), np.full((rows, COUNT), np.nan))

    def fill(self, rows: Places, found: "Scenarios") -> None:
        """Put in what was found for some rows."""
        self.capacity_eq_l[rows] = found.capacity_eq_l
        self.transfer_units[rows] = found.transfer_units

    def taken(self, rows: Places) -> "Scenarios":
        """Return the scenarios of some rows, in their order."""
        return Scenarios(self.capacity_eq_l[rows], self.transfer_units[rows])


def scenarios_of(weights: Floats, prior: GradePrior) -> Scenarios:
    """Return the scenarios that stand for weights of the shape (rows, units x capacity)."""
    units, capacity = prior.log_units, prior.log_capacity
    joint = weights.reshape(len(weights), len(units), len(capacity))
    logs = quantiles(joint.sum(axis=1), capacity, tuple(MIDDLES))
    cell = np.rint((logs - capacity[0]) / (capacity[1] - capacity[0])).astype(np.intp)
    cell = np.clip(cell, 0, len(capacity) - 1)[:, np.newaxis, :]
    given = np.take_along_axis(joint, cell, axis=2)
    return Scenarios(np.exp(logs), np.exp(_units(given, units)))


def _units(given: Floats, units: Floats) -> Floats:
    """Return log transfer units by weights given each capacity, shape (rows, units, ``COUNT``)."""
    total = np.cumsum(given, axis=1)
    wanted = SPREAD * total[:, -1]
    cell = np.minimum((total < wanted[:, np.newaxis]).sum(axis=1), len(units) - 1)
    at = cell[:, np.newaxis]
    short = np.take_along_axis(total, at, axis=1)[:, 0] - wanted
    inside = np.take_along_axis(given, at, axis=1)[:, 0]
    step = units[1] - units[0]
    return np.asarray(units[cell] + (0.5 - short / inside) * step, np.float64)
