"""What each rinse took from its charge: water, equivalents, and the sums since the charge began.

Nothing missing ever passes: where the water of a rinse, its count or the inlet water is unknown,
the sum that needs it is unknown from that rinse to the end of the charge. Nothing can be summed
for a charge of which the records do not tell that it was fresh.
"""

from collections.abc import Mapping

import polars as pl

from qa_engine.charges import charge_at, sum_from_the_start
from qa_engine.depletion.inlet import inlet_at, load_of
from qa_engine.depletion.metering import water_of
from qa_engine.depletion.model import ResinModel
from qa_engine.history import History

SUMS = {"rinses": "total_rinses", "water": "total_water", "equivalents": "total_equivalents"}
"""What is summed up within a charge, and what the sums are called."""


def usage_of(
    history: History, charges: pl.DataFrame, models: Mapping[str, ResinModel]
) -> pl.DataFrame:
    """Return what each rinse took from its charge, row for row beside the rinse records.

    Args:
        history: the records.
        charges: their charges, as ``cut_charges`` returns them.
        models: the resin models by the grade they speak for; each is asked once.

    Returns:
        A frame sorted as the rinse records are, by (tank, at, record), of ``tank``, ``at``,
        ``record``; ``charge`` and ``number`` (as in ``charges``); ``vehicle_class``, ``rinses``;
        ``water`` [L] and ``water_basis`` (logged, counter, class); the inlet water's ``load_eq_l``
        [eq/L]; ``equivalents`` [eq]; and the sums within the charge, this rinse included:
        ``total_rinses``, ``total_water`` [L], ``total_equivalents`` [eq].
    """
    columns = ("tank", "at", "record", "vehicle_class", "rinses", "source")
    rinses = history.of("rinse", *columns)
    charge = charge_at(rinses.select("tank", "at"), charges, ["charge", "number", "grade", "known"])
    load = load_of(inlet_at(rinses, history), charge["grade"], models)
    usage = pl.concat([rinses, charge, water_of(history)], how="horizontal").with_columns(
        load, (pl.col("water") * load).alias("equivalents")
    )
    return _summed(usage).drop("source", "grade", "known")


def _summed(usage: pl.DataFrame) -> pl.DataFrame:
    in_charge = usage.with_columns(pl.struct("tank", "number").rle_id().alias("stretch"))
    sums = (
        pl.when("known").then(sum_from_the_start(name).over("stretch")).alias(total)
        for name, total in SUMS.items()
    )
    return in_charge.with_columns(sums).drop("stretch")
