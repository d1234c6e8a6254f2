"""Weighing capacities by readings: charges of one grade, a part of whole tanks after the other.

Charges of one tank follow each other, so the loop is over their ordinal, and each step of it does
all tanks of a part at once. The likelihood of a reading does not hang on what was believed before;
it is found for all readings first. All digits are the same whichever tanks are done together.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields
from datetime import datetime
from itertools import pairwise

import numpy as np
import polars as pl
from numpy.typing import NDArray

from qa_engine.depletion.evidence import shown_in
from qa_engine.depletion.likelihood import log_likelihood
from qa_engine.depletion.model import Floats, ResinModel, Water
from qa_engine.depletion.posterior import learn
from qa_engine.depletion.prior import DatedPrior, GradePrior, capacity_at

Places = NDArray[np.intp]

SPENT_FRACTION = 10.0
"""A used fraction at which any bed lets through what comes in [1]."""

TELLS_NOTHING = 0.001
"""Part of a digit by which expected outlets may differ without telling capacities apart [1]."""

ROWS_AT_ONCE = 256
"""How many readings are weighed at once: what the processor keeps at hand."""

ROWS_PER_PART = 8_192
"""How many readings and charges the tanks of a part have, unless one has more."""


@dataclass(frozen=True)
class Part:
    """The charges of some whole tanks, all of one grade, and their readings.

    Attributes:
        charges: sorted by (tank, number); has ``tank``, ``since``, ``water_at_begin``,
            ``water_when_read`` and ``step``, the place of its begin among all steps.
        evidence: sorted alike; as ``outlet_evidence`` returns it, with ``charge_row`` (its place in
            ``charges``) and ``step``.
    """

    charges: pl.DataFrame
    evidence: pl.DataFrame


def parts_of(charges: pl.DataFrame, evidence: pl.DataFrame) -> Iterator[Part]:
    """Yield charges and readings of one grade in parts of whole tanks.

    Args:
        charges: as in ``Part``, with a ``row`` that the readings' ``charge_row`` names.
        evidence: as in ``Part``.
    """
    counted = evidence["charge_row"].value_counts(name="readings")
    sizes = charges.join(counted, left_on="row", right_on="charge_row", how="left")
    rows = sizes.group_by("tank").agg((pl.col("readings").fill_null(0) + 1).sum()).sort("tank")
    before = rows.select("tank", (pl.col("readings").cum_sum() - 1) // ROWS_PER_PART)
    part = charges.select("tank").join(before, on="tank", how="left", maintain_order="left")
    for number in part["readings"].unique(maintain_order=True):
        own = charges.filter(part["readings"] == number)
        first, last = own["row"][0], own["row"][-1]
        read = evidence.filter(pl.col("charge_row").is_between(first, last))
        row = pl.Series(own["row"].search_sorted(read["charge_row"]), dtype=pl.Int64)
        yield Part(own, read.with_columns(row.alias("charge_row")))


def weigh(
    part: Part, prior: GradePrior, model: ResinModel, priors: Sequence[DatedPrior] = ()
) -> Iterator[tuple[Places, Floats]]:
    """Yield what is believed at each step, as places among all steps and weights.

    Weights have the shape (steps, units x capacity) and sum up to 1.
    """
    logs = _log_likelihoods(part.evidence, prior, model)
    charge_row = part.evidence["charge_row"].to_numpy()
    _add_up(logs, charge_row)
    at_begin, when_read = _priors(part, prior, priors, logs)
    yield part.charges["step"].to_numpy(), at_begin
    step = part.evidence["step"].to_numpy()
    for rows in _slices(len(step)):
        yield step[rows], learn(when_read[charge_row[rows]], logs[rows])


def _slices(count: int) -> Iterator[slice]:
    for start in range(0, count, ROWS_AT_ONCE):
        yield slice(start, min(start + ROWS_AT_ONCE, count))


def _log_likelihoods(evidence: pl.DataFrame, prior: GradePrior, model: ResinModel) -> Floats:
    logs = np.zeros((evidence.height, prior.points))
    telling = np.flatnonzero(_tells(evidence, prior, model))
    for rows in _slices(len(telling)):
        some = evidence[telling[rows]]
        expected = expected_outlet(some, prior.log_capacity, prior, model)
        shown = shown_in(some, spent_outlet(water_of(some), model))
        logs[telling[rows]] = log_likelihood(shown, expected.reshape(some.height, -1))
    return logs


def _tells(evidence: pl.DataFrame, prior: GradePrior, model: ResinModel) -> NDArray[np.bool_]:
    """Return which readings can tell capacities apart: not those of a bed that is hardly used.

    There the model expects the same of the smallest capacity as of the largest.
    """
    ends = prior.log_capacity[[0, -1]]
    expected = expected_outlet(evidence, ends, prior, model)
    least, most = expected[..., 1].min(axis=1), expected[..., 0].max(axis=1)
    tells: NDArray[np.bool_] = ~(most - least <= TELLS_NOTHING * evidence["digit"].to_numpy())
    return tells


def water_of(evidence: pl.DataFrame, *more: int) -> Water:
    """Return the inlet water of rows, of the shape (rows, *more)."""
    shape = (evidence.height, *more)
    return Water(
        **{field.name: evidence[field.name].to_numpy().reshape(shape) for field in fields(Water)}
    )


def spent_outlet(water: Water, model: ResinModel) -> Floats:
    """Return what the outlet shows when the bed is spent altogether [mg/L]."""
    used = np.full(water.tds_mg_l.shape, SPENT_FRACTION)
    return model.outlet_mg_l(used, water, np.full(used.shape, np.nan))


def expected_outlet(
    evidence: pl.DataFrame, log_capacity: Floats, prior: GradePrior, model: ResinModel
) -> Floats:
    """Return what the model expects the outlet to show, shape (rows, units, capacity) [mg/L].

    Crews log no flow with a reading: the transfer units that are learnt are those at the flow
    that the tank is run at.

    Args:
        evidence: rows as ``outlet_evidence`` returns them.
        log_capacity: logarithms of the capacities to be tried, in eq per litre of resin.
        prior: has the transfer units to be tried.
        model: of the grade.
    """
    spent, volume = (evidence[name].to_numpy() for name in ("spent", "resin_volume"))
    used = (spent / volume)[:, np.newaxis] / np.exp(log_capacity)
    units = np.exp(prior.log_units)[:, np.newaxis]
    flow = np.full((evidence.height, 1, 1), np.nan)
    return model.outlet_mg_l(used[:, np.newaxis, :], water_of(evidence, 1, 1), flow, units)


def _add_up(logs: Floats, charge_row: Places) -> None:
    """Sum up likelihoods within each charge, in place, the readings of one charge in order."""
    begins = np.flatnonzero(np.diff(charge_row, prepend=-1))
    ordinal = np.arange(len(charge_row)) - np.repeat(begins, np.diff(begins, append=len(logs)))
    order = np.argsort(ordinal, kind="stable")
    ends = np.cumsum(np.bincount(ordinal))
    for start, end in pairwise(ends):
        rows = order[start:end]
        logs[rows] += logs[rows - 1]


def _priors(
    part: Part, prior: GradePrior, priors: Sequence[DatedPrior], logs: Floats
) -> tuple[Floats, Floats]:
    """Return what is believed of each charge when it begins and just before it is first read.

    The two differ where the tank came to another water in between.
    """
    tanks = _Tanks.of(part, prior, priors)
    charge_row = part.evidence["charge_row"].to_numpy()
    last_reading = np.full(part.charges.height, -1)
    last_reading[charge_row] = np.arange(len(charge_row))
    at_begin = np.empty((part.charges.height, logs.shape[1]))
    when_read = np.empty_like(at_begin)
    for some in tanks.charges_by_ordinal:
        at_begin[some] = tanks.prior_of(tanks.at_begin[some])
        when_read[some] = at_begin[some]
        moved = some[tanks.at_begin[some] != tanks.when_read[some]]
        when_read[moved] = tanks.prior_of(tanks.when_read[moved])
        read = some[last_reading[some] >= 0]
        tanks.see(tanks.when_read[read], logs[last_reading[read]])
    return at_begin, when_read


@dataclass
class _Tanks:
    """What is believed of the tanks of a part on each of their waters.

    Attributes:
        beliefs: shape (tanks on a water, splits, nu, mu).
        at_begin, when_read: for each charge the place of its tank and water in ``beliefs``.
        charges_by_ordinal: the first charges of all tanks, the second ones, ...
    """

    prior: GradePrior
    beliefs: Floats
    at_begin: Places
    when_read: Places
    charges_by_ordinal: list[Places]

    @classmethod
    def of(cls, part: Part, prior: GradePrior, priors: Sequence[DatedPrior]) -> "_Tanks":
        charges = part.charges
        waters = ("water_at_begin", "water_when_read")
        asked = pl.concat(charges.select("tank", "since", pl.col(w).alias("water")) for w in waters)
        keys = asked.group_by("tank", "water").agg(pl.col("since").min()).sort("tank", "water")
        place = asked.join(
            keys.with_row_index("key"), on=["tank", "water"], how="left", maintain_order="left"
        )["key"].to_numpy()
        beliefs = _first_beliefs(keys["since"].to_list(), prior, priors)
        ordinal = charges.select(pl.col("tank").cum_count().over("tank") - 1).to_series().to_numpy()
        by_ordinal = [np.flatnonzero(ordinal == k) for k in range(int(ordinal.max()) + 1)]
        return cls(prior, beliefs, place[: len(ordinal)], place[len(ordinal) :], by_ordinal)

    def prior_of(self, places: Places) -> Floats:
        found = self.prior.of_charge(self.beliefs[places])
        return found.reshape(len(places), self.prior.points)

    def see(self, places: Places, logs: Floats) -> None:
        likelihood = np.exp(logs - logs.max(axis=-1, keepdims=True))
        shape = (len(places), len(self.prior.log_units), len(self.prior.log_capacity))
        self.beliefs[places] = self.prior.after(self.beliefs[places], likelihood.reshape(shape))


def _first_beliefs(
    since: Sequence[datetime], prior: GradePrior, priors: Sequence[DatedPrior]
) -> Floats:
    if not priors:
        return np.repeat(prior.of_tank()[np.newaxis], len(since), axis=0)
    grade = prior.grade.name
    return np.stack([prior.of_tank(capacity_at(priors, grade, at)) for at in since])
