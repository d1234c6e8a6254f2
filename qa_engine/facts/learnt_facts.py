"""Facts learnt from readings: capacity, what is left of it, and what the outlet should show.

Each is told as a median with a low and a high end, between which it lies in 80 of 100 cases.
"""

import polars as pl

from qa_engine.facts.charge_facts import ON_A_CHARGE, ratio, resin_volume, spent_eq
from qa_engine.facts.fact import Fact, FactGroup
from qa_engine.facts.learnt import learnt_of, predicted_outlet
from qa_engine.facts.past import Past

ENDS = {
    "": "median",
    "_low": "low end: in 1 case of 10 it is less",
    "_high": "high end: in 1 case of 10 it is more",
}

LOOKED_AT = ("charge_resin_volume", "reading.outlet_tds sampled=flowing", "model")


def _capacity_eq(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    """Return ``low``, ``median`` and ``high`` of the capacity of each charge [eq]."""
    learnt = learnt_of(subjects, past)
    volume = resin_volume(subjects, past)
    record = pl.coalesce(learnt["record"], past.charge_of(subjects)["record"])
    return learnt.select(pl.col("low", "median", "high") * volume, record.alias("evidence"))


def _capacity(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    return _capacity_eq(subjects, past).select(
        pl.col("median").alias("learnt_capacity"),
        pl.col("low").alias("learnt_capacity_low"),
        pl.col("high").alias("learnt_capacity_high"),
        "evidence",
    )


def _used(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    capacity, spent = _capacity_eq(subjects, past), spent_eq(subjects, past)
    # A bed that holds little is used up further.
    used = {"": "median", "_low": "high", "_high": "low"}
    return pl.DataFrame(
        [
            *(
                ratio(spent, capacity[of]).alias("learnt_used_fraction" + end)
                for end, of in used.items()
            ),
            capacity["evidence"],
        ]
    )


def _left(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    capacity, spent = _capacity_eq(subjects, past), spent_eq(subjects, past)
    left = {"": "median", "_low": "low", "_high": "high"}
    return capacity.select(
        *(
            (pl.col(of) - spent).clip(lower_bound=0).alias("equivalents_left" + end)
            for end, of in left.items()
        ),
        "evidence",
    )


def _predicted(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    record = pl.coalesce(learnt_of(subjects, past)["record"], past.charge_of(subjects)["record"])
    outlet = predicted_outlet(subjects, past)
    return outlet.select(
        pl.col("median").alias("predicted_outlet"),
        pl.col("low").alias("predicted_outlet_low"),
        pl.col("high").alias("predicted_outlet_high"),
        record.alias("evidence"),
    )


def _three(name: str, meaning: str, unit: str, *looks_at: str) -> tuple[Fact, ...]:
    return tuple(
        Fact(name + end, "number", f"{meaning}; {told}", unit, low=0, looks_at=looks_at)
        for end, told in ENDS.items()
    )


LEARNT_FACTS = (
    FactGroup(
        ON_A_CHARGE,
        _three(
            "learnt_capacity",
            "what the charge can take up, as its readings and earlier charges of the tank on the "
            "same water teach",
            "eq",
            *LOOKED_AT,
        ),
        _capacity,
        asks_models=True,
    ),
    FactGroup(
        ON_A_CHARGE,
        _three(
            "learnt_used_fraction",
            "equivalents spent over the learnt capacity of the charge; above 1 it is overrun",
            "1",
            "charge_equivalents",
            "learnt_capacity",
        ),
        _used,
        asks_models=True,
    ),
    FactGroup(
        ON_A_CHARGE,
        _three(
            "equivalents_left",
            "what the charge can still take up by its learnt capacity, 0 beyond",
            "eq",
            "charge_equivalents",
            "learnt_capacity",
        ),
        _left,
        asks_models=True,
    ),
    FactGroup(
        ON_A_CHARGE,
        _three(
            "predicted_outlet",
            "what the outlet should show now, above pure water, by what was learnt of the charge",
            "mg/L",
            "charge_equivalents",
            "learnt_capacity",
            "reading.inlet_tds",
            "reading.inlet_conductivity",
            "water_analysis.conductivity",
        ),
        _predicted,
        asks_models=True,
    ),
)
