"""Which outlet reading would tell most of a charge: far from the knee it tells nothing.

A reading is not known before it is taken, so each candidate is tried with every scenario that is
held possible: what the outlet would show then, and how narrow the belief would be after it.
"""

from dataclasses import dataclass

import numpy as np
import polars as pl

from qa_engine.depletion.evidence import shown_by, shown_in
from qa_engine.depletion.learning import of_capacity
from qa_engine.depletion.likelihood import log_likelihood
from qa_engine.depletion.model import Floats
from qa_engine.depletion.posterior import learn, quantiles
from qa_engine.depletion.prior import GradePrior
from qa_engine.depletion.scenarios import scenarios_of
from qa_engine.depletion.weighing import expected_outlet, spent_outlet, water_of
from qa_engine.facts.learnt import SCATTER
from qa_engine.facts.past import Past

STEP = 0.025
"""How far apart the candidates lie, in used fraction of the median capacity [1]."""

FARTHEST = 1.1
"""Up to which used fraction candidates are tried [1]."""

ENDS = (0.1, 0.9)


@dataclass(frozen=True)
class Reading:
    """An outlet reading that could be taken.

    Attributes:
        more_eq: equivalents to be spent from now until then [eq].
        used_fraction: spent by then over the median capacity [1].
        narrower: by what share the 80 % band of capacity is expected to get narrower [1].
    """

    more_eq: float
    used_fraction: float
    narrower: float


def readings_to_take(
    past: Past, charge: pl.DataFrame, step: int, capacity_eq: float
) -> tuple[Reading, ...]:
    """Return readings that could be taken, the first of them now.

    Args:
        past: the records.
        charge: one row of ``tank``, ``at``, ``grade``, ``resin_volume`` [L], ``spent`` [eq] and
            the fields of ``Water``.
        step: the last step of learning on the charge.
        capacity_eq: the median of what is believed of its capacity [eq].
    """
    model = past.models[charge["grade"][0]]
    prior = GradePrior(model.grade)
    weights = _weights(past, charge, step)
    width = _widths(weights, prior)[0]
    spent = charge["spent"][0]
    used = np.arange(spent / capacity_eq + STEP, FARTHEST, STEP)
    found = []
    for then_eq in (spent, *(used * capacity_eq)):
        row = charge.with_columns(pl.lit(then_eq).alias("spent"))
        expected = expected_outlet(row, prior.log_capacity, prior, model).reshape(1, -1)
        shown = _shown(row, weights, prior, past)
        logs = log_likelihood(
            shown_in(shown, np.repeat(spent_outlet(water_of(row), model), shown.height)),
            np.repeat(expected, shown.height, axis=0),
        )
        after = _widths(learn(np.repeat(weights, shown.height, axis=0), logs), prior)
        mean = float(np.average(after, weights=shown["times"].to_numpy()))
        then_eq = float(then_eq)
        found.append(Reading(then_eq - spent, then_eq / capacity_eq, 1.0 - mean / float(width)))
    return tuple(found)


def _weights(past: Past, charge: pl.DataFrame, step: int) -> Floats:
    for places, weights in past.learning.weights(charge["grade"][0], charge["tank"]):
        if (places == step).any():
            found: Floats = weights[places == step]
            return found
    raise LookupError(f"no step {step} of learning on {charge['tank'][0]}")


def _widths(weights: Floats, prior: GradePrior) -> Floats:
    ends = quantiles(of_capacity(weights, prior), prior.log_capacity, ENDS)
    return np.asarray(ends[:, 1] - ends[:, 0], np.float64)


def _shown(row: pl.DataFrame, weights: Floats, prior: GradePrior, past: Past) -> pl.DataFrame:
    """Return what the meter may show, each with how many scenarios have it so."""
    model = past.models[row["grade"][0]]
    scenarios = scenarios_of(weights, prior)
    used = row["spent"][0] / row["resin_volume"][0] / scenarios.capacity_eq_l
    water = water_of(row, 1)
    outlets = model.outlet_mg_l(used, water, np.full((1, 1), np.nan), scenarios.transfer_units)
    outlets = np.minimum(outlets * SCATTER, spent_outlet(water, model)).ravel()
    last = past.history.of("reading", "tank", "at", "meter", "outlet_tds").filter(
        pl.col("tank") == row["tank"][0], pl.col("outlet_tds").is_not_null()
    )
    meter = last["meter"][-1] if last.height else None
    asked = row.select("tank", "at", pl.lit(meter, pl.String).alias("meter")).join(
        pl.DataFrame({"outlet_tds": outlets}), how="cross"
    )
    asked = asked.with_columns(pl.lit(None, pl.Float64).alias("outlet_conductivity"))
    step = shown_by(asked, past.history)["digit"]
    rounded = asked.with_columns((pl.col("outlet_tds") / step).round() * step)
    counted = rounded.group_by(asked.columns).len("times").sort("outlet_tds")
    return pl.concat([shown_by(counted, past.history), counted.select("times")], how="horizontal")
