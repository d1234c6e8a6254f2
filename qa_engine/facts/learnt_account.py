"""Where what is believed of a tank's charge comes from: its prior, its water, and each reading."""

from dataclasses import dataclass
from datetime import datetime

import numpy as np
import polars as pl

from qa_engine.charges import charge_at
from qa_engine.depletion.inlet import inlet_at, load_of
from qa_engine.depletion.learning import QUANTILES
from qa_engine.depletion.model import Grade
from qa_engine.depletion.weighing import water_of
from qa_engine.facts.charge_facts import resin_volume, spent_eq
from qa_engine.facts.past import Past


@dataclass(frozen=True)
class Belief:
    """A number of which this much is believed: in 80 of 100 cases it lies from low to high."""

    low: float
    median: float
    high: float


@dataclass(frozen=True)
class Account:
    """What is believed of a charge's capacity, and why.

    Attributes:
        tank, charge: which charge, as of ``at``.
        grade: its grade, with the sources of its capacity and sharpness.
        source: the water it ran on when it was first read, None where no one named it.
        prior: capacity before its readings [eq per litre of resin].
        learnt_from: the tank's earlier charges of this grade on this water, which the prior comes
            from; where there are none, it is that of the grade.
        capacity: capacity by now [eq per litre of resin].
        resin_l: resin in the charge [L], None where not known.
        spent_eq: equivalents spent [eq], None where not known.
        load_eq_l: what a litre of the inlet water spends [eq/L], None where not known.
        inlet: the fields of ``Water`` of that inlet water.
        readings: the readings that count, in order: ``record``, ``at``, ``spent`` [eq], ``outlet``
            as read and ``expected`` just before [mg/L], capacity ``before`` and ``low``,
            ``median``, ``high`` after [eq per litre of resin], and ``shift``, by what share the
            median moved [1].
    """

    tank: str
    charge: str
    at: datetime
    grade: Grade
    source: str | None
    prior: Belief
    learnt_from: tuple[str, ...]
    capacity: Belief
    resin_l: float | None
    spent_eq: float | None
    load_eq_l: float | None
    inlet: dict[str, float | None]
    readings: pl.DataFrame


def explain_learning(past: Past, tank: str, at: datetime | None = None) -> Account | None:
    """Return where the belief about a tank's charge comes from.

    Args:
        past: the records.
        tank: which tank.
        at: the instant asked about, that of the inspection if None.

    Returns:
        None where nothing is learnt: no charge is known then, or no model speaks for its grade.
    """
    moment = at or past.as_of
    subject = pl.DataFrame(
        {"tank": [tank], "at": [moment]},
        schema={"tank": pl.String(), "at": pl.Datetime("us", "UTC")},
    )
    number = charge_at(subject, past.charges, ["number"])["number"][0]
    learning = past.learning
    own = pl.col("tank") == tank
    charge = learning.charges.filter(own, pl.col("number") == number)
    if charge.is_empty():
        return None
    steps = learning.steps.filter(own, pl.col("number") == number, pl.col("at") <= moment)
    grade = past.models[charge["grade"][0]].grade
    inlet = inlet_at(subject, past.history)
    return Account(
        tank=tank,
        charge=charge["charge"][0],
        at=moment,
        grade=grade,
        source=charge["water_when_read"][0] or None,
        prior=_belief(steps[0]),
        learnt_from=_learnt_from(charge, learning.charges.filter(own), learning.evidence),
        capacity=_belief(steps[-1]),
        resin_l=resin_volume(subject, past)[0],
        spent_eq=spent_eq(subject, past)[0],
        load_eq_l=load_of(inlet, charge["grade"], past.models)[0],
        inlet=inlet.row(0, named=True),
        readings=_readings(steps, past),
    )


def _belief(step: pl.DataFrame) -> Belief:
    return Belief(*step.select(list(QUANTILES)).row(0))


def _learnt_from(
    charge: pl.DataFrame, of_tank: pl.DataFrame, evidence: pl.DataFrame
) -> tuple[str, ...]:
    """Return the earlier charges that were read, of the same grade and on the same water."""
    earlier = of_tank.filter(
        pl.col("number") < charge["number"][0],
        pl.col("grade") == charge["grade"][0],
        pl.col("water_when_read") == charge["water_at_begin"][0],
    )
    return tuple(earlier.join(evidence, on=["tank", "number"], how="semi")["charge"])


def _readings(steps: pl.DataFrame, past: Past) -> pl.DataFrame:
    read = steps[1:]
    evidence = past.learning.evidence.filter(pl.col("step").is_in(read["step"].implode()))
    before = steps["median"][: read.height]
    expected = _expected(evidence, steps["step"][: read.height], past)
    return read.select("record", "at", *QUANTILES).with_columns(
        evidence["spent"],
        evidence["outlet"],
        pl.Series("expected", expected, dtype=pl.Float64, nan_to_null=True),
        before.alias("before"),
        (read["median"] / before - 1).alias("shift"),
    )


def _expected(evidence: pl.DataFrame, before: pl.Series, past: Past) -> list[float]:
    """Return the median of what was expected of each reading by what was believed before it."""
    if evidence.is_empty():
        return []
    scenarios = past.learning.scenarios(before)
    spent = (evidence["spent"] / evidence["resin_volume"]).to_numpy()[:, np.newaxis]
    model = past.models[evidence["grade"][0]]
    flow = np.full(spent.shape, np.nan)
    outlets = model.outlet_mg_l(
        spent / scenarios.capacity_eq_l, water_of(evidence, 1), flow, scenarios.transfer_units
    )
    return [float(one) for one in np.median(outlets, axis=1)]
