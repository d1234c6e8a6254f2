"""What the learning of capacity goes by: the readings of the outlet, each with what ran before it.

A reading counts if it was taken from flowing water, on a charge that is known, with the inlet
water and what the charge had spent by then known. Others say nothing of the capacity.
"""

from collections.abc import Collection

import numpy as np
import polars as pl

from qa_engine.charges import charge_at, so_far_in_charge
from qa_engine.depletion.inlet import inlet_at
from qa_engine.depletion.likelihood import Shown
from qa_engine.depletion.model import Floats
from qa_engine.history import History, latest, valid_rows
from qa_engine.uncertainty import combined, rectangular

USUAL_STEP_MG_L = 1.0
"""The display's step where the register is silent: common practice, no published source [mg/L]."""

USUAL_DIGITS = 1.0
"""Digits by which such a meter may be off: common practice, no published source [1]."""

USUAL_RELATIVE_SD = 0.075
"""Relative standard deviation of a meter of which the register does not say how accurate it is.

Between 17 laboratories the standard deviation of a conductivity of 100 uS/cm was 7.55 (US EPA,
Method 120.1, 1982).
"""

OF_METER = ("accuracy_percent", "accuracy_digits", "resolution", "factor")
NAMED_BY = ("reading", "rinse")


def outlet_evidence(
    history: History,
    charges: pl.DataFrame,
    usage: pl.DataFrame,
    resin: pl.DataFrame,
    grades: Collection[str],
) -> pl.DataFrame:
    """Return the readings that count, sorted by (tank, at, record).

    Args:
        history: the records.
        charges: as ``cut_charges`` returns them.
        usage: as ``usage_of`` returns it.
        resin: as ``resin_so_far`` returns it.
        grades: those that a model speaks for.

    Returns:
        A frame of ``tank``, ``at``, ``record``, ``number`` and ``grade`` of the charge; ``spent``
        [eq] and ``resin_volume`` [L] of the charge by then; the fields of ``Water``; ``outlet``
        as the meter shows it, ``digit``, the step of its display, and ``sd`` of what it adds
        [mg/L].
    """
    readings = history.of(
        "reading", "tank", "at", "record", "meter", "source", "sampled", *_READ
    ).filter(pl.col("sampled") == "flowing", pl.any_horizontal(pl.col(_READ).is_not_null()))
    charge = charge_at(readings.select("tank", "at"), charges, ["number", "grade", "known"])
    readings = pl.concat([readings, charge], how="horizontal").filter(
        "known", pl.col("grade").is_in(list(grades))
    )
    frame = pl.concat(
        [
            readings.select("tank", "at", "record", "number", "grade"),
            _ran_before(readings, usage, resin),
            inlet_at(readings, history),
            shown_by(readings, history),
        ],
        how="horizontal",
    )
    inlet_known = pl.any_horizontal(pl.col("tds_mg_l", "conductivity_us_cm").is_not_null())
    known = pl.all_horizontal(pl.col("spent", "resin_volume", "outlet").is_not_null())
    return frame.filter(known & inlet_known & (pl.col("resin_volume") > 0))


_READ = ("outlet_tds", "outlet_conductivity")


def _ran_before(readings: pl.DataFrame, usage: pl.DataFrame, resin: pl.DataFrame) -> pl.DataFrame:
    number = readings["number"]
    used = so_far_in_charge(readings, number, usage, ["total_equivalents"])
    volume = so_far_in_charge(readings, number, resin, ["resin_volume"])
    fresh = pl.when(pl.col("number").is_null()).then(0.0).otherwise("total_equivalents")
    return used.select(fresh.alias("spent"), volume["resin_volume"])


def shown_by(readings: pl.DataFrame, history: History) -> pl.DataFrame:
    """Return what meters showed on their scale of mg/L, and how far they can be trusted."""
    meters = valid_rows(readings, history.register, "meters", OF_METER)
    outlet = pl.coalesce("outlet_tds", pl.col("outlet_conductivity") * pl.col("factor"))
    stated = pl.any_horizontal(pl.col("accuracy_percent", "accuracy_digits").is_not_null())
    step = pl.when(pl.col("resolution") > 0).then("resolution").fill_null(USUAL_STEP_MG_L)
    digits = pl.when(stated).then(pl.col("accuracy_digits").fill_null(0.0)).otherwise(USUAL_DIGITS)
    of_percent = rectangular(pl.col("accuracy_percent").fill_null(0.0) / 100)
    relative = pl.when(stated).then(of_percent).otherwise(USUAL_RELATIVE_SD)
    sd = combined(rectangular(digits * step), relative * outlet)
    return pl.concat([readings.select(_READ), meters], how="horizontal").select(
        outlet.alias("outlet"), step.alias("digit"), sd.alias("sd")
    )


def shown_in(evidence: pl.DataFrame, inlet_mg_l: Floats) -> Shown:
    """Return the readings for the likelihood; the inlet is what a spent bed would let through."""
    outlet, step, sd = (evidence[name].to_numpy() for name in ("outlet", "digit", "sd"))
    return Shown(outlet, step, sd, np.nan_to_num(inlet_mg_l, nan=0.0))


def waters_by_charge(
    history: History, charges: pl.DataFrame, evidence: pl.DataFrame
) -> pl.DataFrame:
    """Return the water that each charge is known to run on, row for row beside the charges.

    Crews name a source with a reading or a rinse. Whatever was named last on the tank counts:
    ``water_at_begin`` when the charge began, ``water_when_read`` when its outlet was first read
    ("" where none ever was); a name that comes later changes nothing that was learnt before.
    """
    named = pl.concat(
        history.of(kind, "tank", "at", "record", "source").drop_nulls("source") for kind in NAMED_BY
    ).sort("tank", "at", "record")
    first = evidence.group_by("tank", "number").agg(pl.col("at").min().alias("read"))
    read = charges.join(first, on=["tank", "number"], how="left", maintain_order="left")
    begin = charges.select("tank", pl.col("since").alias("at"))
    when_read = read.select("tank", pl.coalesce("read", "since").alias("at"))
    return pl.DataFrame(
        [
            latest(asked, named, by="tank", take=["source"])["source"].fill_null("").alias(name)
            for name, asked in (("water_at_begin", begin), ("water_when_read", when_read))
        ]
    )
