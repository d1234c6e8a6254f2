"""What the readings teach of each charge's capacity, by the model of its grade.

The belief about a charge is a grid of weights over the logarithms of capacity and of transfer
units. It begins with what the earlier charges of the same tank, grade and water taught, else with
what the grade declares, and each reading of the outlet changes it by Bayes' rule. When the charge
is over, however early it was changed, its readings change in turn what is believed of the tank: a
bed that was changed while its outlet was still low says that it held at least so much. Nothing
looks ahead, and no tank learns from another.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl

from qa_engine.depletion.evidence import outlet_evidence, waters_by_charge
from qa_engine.depletion.model import Floats, ResinModel
from qa_engine.depletion.posterior import quantiles
from qa_engine.depletion.prior import DatedPrior, GradePrior, can_be_learnt
from qa_engine.depletion.scenarios import Scenarios, scenarios_of
from qa_engine.depletion.weighing import Places, parts_of, weigh
from qa_engine.history import History

QUANTILES = {"low": 0.1, "median": 0.5, "high": 0.9}
"""Which quantiles are told; between the outer two lie 80 %."""

ENDS = tuple(QUANTILES.values())


@dataclass(frozen=True)
class Learning:
    """What was learnt, step by step.

    Attributes:
        steps: a row for each charge of a grade with a model when it begins, and for each of its
            readings that counts, sorted by (tank, number, at, record). It has ``tank``, ``at``,
            ``number`` (of the charge), ``grade``, ``record`` (of the reading, null at the begin),
            ``step`` (the row), and of the capacity per litre of resin ``low``, ``median`` and
            ``high`` [eq/L].
        charges: those charges, as ``cut_charges`` returns them, with the water they ran on.
        evidence: the readings that count, as ``outlet_evidence`` returns them.
        models: the resin models by grade.
        priors: what was believed from an instant on, instead of what a grade declares.
    """

    steps: pl.DataFrame
    charges: pl.DataFrame
    evidence: pl.DataFrame
    models: Mapping[str, ResinModel]
    priors: tuple[DatedPrior, ...] = ()

    def weights(
        self, grade: str, tanks: pl.Series | None = None
    ) -> Iterator[tuple[Places, Floats]]:
        """Yield steps of a grade and their weights, shape (steps, units x capacity).

        Args:
            grade: one that a model speaks for.
            tanks: those wanted, None for all.
        """
        wanted = pl.col("grade") == grade
        if tanks is not None:
            wanted &= pl.col("tank").is_in(tanks.implode())
        model = self.models[grade]
        prior = GradePrior(model.grade)
        for part in parts_of(self.charges.filter(wanted), self.evidence.filter(wanted)):
            yield from weigh(part, prior, model, self.priors)

    def scenarios(self, steps: pl.Series) -> Scenarios:
        """Return equally likely pairs of capacity and transfer units for some steps.

        Args:
            steps: rows of ``steps``, null for none.
        """
        wanted = steps.drop_nulls().unique().sort()
        found = Scenarios.unknown(len(wanted) + 1)
        rows = self.steps[wanted] if len(wanted) else self.steps.clear()
        for (grade,), own in rows.group_by("grade", maintain_order=True):
            prior = GradePrior(self.models[str(grade)].grade)
            sought = own["step"].to_numpy()
            for places, weights in self.weights(str(grade), own["tank"].unique()):
                hit = np.isin(places, sought)
                if hit.any():
                    at = np.searchsorted(wanted.to_numpy(), places[hit])
                    found.fill(at, scenarios_of(weights[hit], prior))
        place = wanted.search_sorted(steps).to_numpy() if len(wanted) else np.zeros(len(steps))
        unknown = steps.is_null().to_numpy()
        return found.taken(np.where(unknown, len(wanted), place).astype(np.intp))


def learn_charges(
    history: History,
    charges: pl.DataFrame,
    usage: pl.DataFrame,
    resin: pl.DataFrame,
    models: Mapping[str, ResinModel],
    priors: Sequence[DatedPrior] = (),
) -> Learning:
    """Return what the readings teach of the capacity of every charge whose grade has a model.

    Args:
        history: the records.
        charges: as ``cut_charges`` returns them.
        usage: as ``usage_of`` returns it.
        resin: as ``resin_so_far`` returns it.
        models: the resin models by grade.
        priors: what is believed of a grade from an instant on, instead of what it declares.
    """
    models = {name: model for name, model in models.items() if can_be_learnt(model.grade)}
    evidence = outlet_evidence(history, charges, usage, resin, models)
    waters = waters_by_charge(history, charges, evidence)
    known = pl.concat([charges, waters], how="horizontal").filter(
        "known", pl.col("grade").is_in(list(models))
    )
    learning = _in_steps(known.with_row_index("row"), evidence, models, tuple(priors))
    return Learning(
        learning.steps.with_columns(_told(learning)),
        learning.charges,
        learning.evidence,
        learning.models,
        learning.priors,
    )


def _in_steps(
    charges: pl.DataFrame,
    evidence: pl.DataFrame,
    models: Mapping[str, ResinModel],
    priors: tuple[DatedPrior, ...],
) -> Learning:
    """Number the steps: each charge's begin, then its readings."""
    evidence = evidence.join(
        charges.select("tank", "number", pl.col("row").alias("charge_row")),
        on=["tank", "number"],
        how="left",
        maintain_order="left",
    ).with_row_index("reading_row")
    begins = charges.select(
        "tank", pl.col("since").alias("at"), "number", "grade", pl.col("row").alias("charge_row")
    )
    read = evidence.select("tank", "at", "number", "grade", "charge_row", "record", "reading_row")
    steps = pl.concat([begins, read], how="diagonal").sort(
        "charge_row", "reading_row", nulls_last=False
    )
    steps = steps.with_row_index("step")
    of_charges = steps.filter(pl.col("reading_row").is_null())["step"]
    of_readings = steps.filter(pl.col("reading_row").is_not_null())["step"]
    return Learning(
        steps.drop("charge_row", "reading_row"),
        charges.with_columns(of_charges),
        evidence.with_columns(of_readings),
        models,
        priors,
    )


def _told(learning: Learning) -> list[pl.Series]:
    found = np.full((learning.steps.height, len(QUANTILES)), np.nan)
    for grade in learning.steps["grade"].unique(maintain_order=True):
        prior = GradePrior(learning.models[grade].grade)
        for places, weights in learning.weights(grade):
            logs = quantiles(of_capacity(weights, prior), prior.log_capacity, ENDS)
            found[places] = np.exp(logs)
    return [pl.Series(name, found[:, place]) for place, name in enumerate(QUANTILES)]


def of_capacity(weights: Floats, prior: GradePrior) -> Floats:
    """Return the weights of capacity alone, shape (steps, points of capacity).

    Wider than the readings leave them, by what a curve that is off throughout would do.
    """
    points = len(prior.log_capacity)
    kernel = prior.curve_kernel
    reach = len(kernel) // 2
    alone = np.zeros((len(weights), points + 2 * reach))
    for start in range(0, weights.shape[1], points):
        alone[:, reach : reach + points] += weights[:, start : start + points]
    wider = np.zeros((len(weights), points))
    for shift, share in enumerate(kernel):
        wider += share * alone[:, shift : shift + points]
    return wider
