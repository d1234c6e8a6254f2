"""What was learnt of the charge that a subject is about, up to the subject's instant."""

from dataclasses import dataclass

import numpy as np
import polars as pl

from qa_engine.charges import so_far_in_charge
from qa_engine.depletion.inlet import inlet_at
from qa_engine.depletion.learning import QUANTILES
from qa_engine.depletion.likelihood import scatter_factor
from qa_engine.depletion.limit import used_fraction_at
from qa_engine.depletion.model import Floats, ResinModel
from qa_engine.depletion.scenarios import COUNT, Scenarios
from qa_engine.depletion.weighing import spent_outlet, water_of
from qa_engine.facts.charge_facts import resin_volume, spent_eq
from qa_engine.facts.past import Past

ROWS_AT_ONCE = 16_384
"""How many subjects are run through their scenarios at once."""


def learnt_of(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    """Return the last step of learning on each subject's charge, row for row.

    Args:
        subjects: has ``tank`` and ``at``; any order.
        past: the records, of which those up to each subject's instant count.

    Returns:
        A frame of ``step``, ``low``, ``median`` and ``high`` [eq per litre of resin], ``record``
        (of the reading it was learnt from); null where nothing is known of the charge.
    """
    take = ["step", *QUANTILES, "record"]
    numbers = past.charge_of(subjects)["number"]
    return so_far_in_charge(subjects, numbers, past.learning.steps, take).select(take)


@dataclass(frozen=True)
class Outlook:
    """Equally likely scenarios of some subjects' charges.

    Attributes:
        scenarios: capacity per litre of resin and transfer units, NaN where unknown.
        resin_l: resin in the charge, shape (subjects,), NaN where unknown [L].
        spent_eq: equivalents spent, likewise [eq].
        water: the inlet water, a row each with the fields of ``Water``.
        grades: the grade of each charge.
    """

    scenarios: Scenarios
    resin_l: Floats
    spent_eq: Floats
    water: pl.DataFrame
    grades: pl.Series

    @property
    def capacity_eq(self) -> Floats:
        """Return the capacity of the charge in each scenario, shape (subjects, scenarios) [eq]."""
        return self.scenarios.capacity_eq_l * self.resin_l[:, np.newaxis]

    @property
    def used_fraction(self) -> Floats:
        """Return the used fraction in each scenario, shape (subjects, scenarios) [1]."""
        with np.errstate(divide="ignore", invalid="ignore"):
            used: Floats = self.spent_eq[:, np.newaxis] / self.capacity_eq
        return np.where(np.isfinite(used), used, np.nan)


def outlook_of(subjects: pl.DataFrame, past: Past) -> Outlook:
    """Return the scenarios of each subject's charge as they were at its instant."""
    return _outlook(_looked_up(subjects, past), past)


def used_when_shown(limit_mg_l: Floats, outlook: Outlook, past: Past) -> Floats:
    """Return the used fraction at which each outlet first shows a limit, in each scenario [1].

    Args:
        limit_mg_l: on the meter's scale, shape (subjects,) [mg/L]; NaN is none.
        outlook: the scenarios of the subjects' charges.
        past: has the models.

    Returns:
        An array of the shape (subjects, scenarios); infinite where the outlet never shows so much,
        NaN where nothing is known, there is no limit, or the grade does not lower TDS.
    """
    found = np.full((len(limit_mg_l), COUNT), np.nan)
    for grade, model in past.models.items():
        own = (outlook.grades == grade).fill_null(value=False).to_numpy()
        rows = own & ~np.isnan(limit_mg_l)
        if rows.any() and model.grade.lowers_tds:
            found[rows] = used_fraction_at(
                model,
                limit_mg_l[rows, np.newaxis],
                water_of(outlook.water.filter(rows), 1),
                np.full((int(rows.sum()), 1), np.nan),
                outlook.scenarios.transfer_units[rows],
            )
    return found


def _looked_up(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    """Return all of an outlook but its scenarios: ``step``, ``resin``, ``spent``, grade, water."""
    return inlet_at(subjects, past.history).with_columns(
        learnt_of(subjects, past)["step"],
        resin_volume(subjects, past).cast(pl.Float64).alias("resin"),
        spent_eq(subjects, past).cast(pl.Float64).alias("spent"),
        past.charge_of(subjects)["grade"],
    )


def _outlook(rows: pl.DataFrame, past: Past) -> Outlook:
    return Outlook(
        past.learning.scenarios(rows["step"]),
        rows["resin"].to_numpy(),
        rows["spent"].to_numpy(),
        rows,
        rows["grade"],
    )


GOLDEN = (5**0.5 - 1) / 2
"""Multiples of it, without their whole parts, fill the range from 0 to 1 evenly [1]."""

SCATTER = scatter_factor((np.arange(COUNT) + 0.5) * GOLDEN % 1.0)
"""How the outlet of each scenario scatters about what the model expects, evenly spread [1]."""


def predicted_outlet(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    """Return what the outlet should show at each subject's instant, row for row.

    The low and the high end allow for what is not known of the bed and for the scatter of the
    outlet about the curve, but for nothing that a meter adds.

    Returns:
        A frame of ``low``, ``median`` and ``high`` [mg/L], null where unknown.
    """
    found = np.full((subjects.height, len(QUANTILES)), np.nan)
    rows = _looked_up(subjects, past)
    for start in range(0, subjects.height, ROWS_AT_ONCE):
        some = rows[start : start + ROWS_AT_ONCE]
        found[start : start + some.height] = _quantiles_of_outlet(_outlook(some, past), past)
    return pl.DataFrame(
        [pl.Series(name, found[:, n], nan_to_null=True) for n, name in enumerate(QUANTILES)]
    )


def _quantiles_of_outlet(outlook: Outlook, past: Past) -> Floats:
    outlets = np.full((len(outlook.grades), COUNT), np.nan)
    used = outlook.used_fraction
    for grade, model in past.models.items():
        rows = ((outlook.grades == grade).fill_null(value=False)).to_numpy()
        if rows.any():
            water = outlook.water.filter(rows)
            units = outlook.scenarios.transfer_units[rows]
            outlets[rows] = _scattered(model, water, used[rows], units)
    outlets.sort(axis=1)
    place = np.array(list(QUANTILES.values())) * COUNT - 0.5
    before = place.astype(np.intp)
    part = place - before
    return np.asarray(outlets[:, before] * (1 - part) + outlets[:, before + 1] * part, np.float64)


def _scattered(model: ResinModel, water: pl.DataFrame, used: Floats, units: Floats) -> Floats:
    flow = np.full((len(used), 1), np.nan)
    expected = model.outlet_mg_l(used, water_of(water, 1), flow, units)
    most = spent_outlet(water_of(water, 1), model)
    return np.minimum(expected * SCATTER, most)
