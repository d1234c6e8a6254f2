"""Facts about a resin charge: its age and resin, what ran through it, and what it has left."""

from collections.abc import Sequence
from datetime import timedelta

import polars as pl

from qa_engine.charges import so_far_in_charge
from qa_engine.depletion.inlet import inlet_at, load_of, outlet_of
from qa_engine.facts.days import days_since
from qa_engine.facts.fact import Fact, FactGroup
from qa_engine.facts.grade_facts import grade_rows
from qa_engine.facts.past import Past
from qa_engine.history import logged_van, valid_rows

ON_A_CHARGE = ("charge", "tank", "rinse", "reading")
"""The subjects that are asked how their charge stands."""

JUST_BEFORE = timedelta(microseconds=1)
MIN_PER_H = 60

TOTALS = {
    "charge_rinses": "total_rinses",
    "charge_water": "total_water",
    "charge_equivalents": "total_equivalents",
}
"""Facts that are sums, and the columns of ``Past.usage`` that they come from."""


def charge_subjects(past: Past) -> pl.DataFrame:
    """Return the charges as subjects, sorted by (item, number).

    A charge that has ended is judged as it was one microsecond before the next one began, a
    charge in use as of the inspection. Its van is the one that last logged the tank by then, else
    that of the register.

    Returns:
        A frame of ``subject`` and ``charge`` (the charge's id), ``number`` (of the charge on its
        tank), ``at``, ``until`` (the same instant), ``item`` and ``tank``, ``van``; ``record``,
        ``meter``, ``base``, ``source`` are null.
    """
    last_moment = (pl.col("ends") - JUST_BEFORE).fill_null(pl.lit(past.as_of))
    nothing = (pl.lit(None, pl.String).alias(n) for n in ("record", "meter", "base", "source"))
    subjects = past.charges.select(
        pl.col("charge").alias("subject"),
        "charge",
        "number",
        last_moment.alias("at"),
        last_moment.alias("until"),
        pl.col("tank").alias("item"),
        "tank",
        *nothing,
    )
    registered = valid_rows(subjects, past.register, "tanks", ["van"])["van"]
    van = logged_van(subjects, past.history).fill_null(registered)
    return subjects.with_columns(van.alias("van"))


def resin_volume(subjects: pl.DataFrame, past: Past) -> pl.Series:
    """Return the resin in each subject's charge at its instant, top-ups in it [L]."""
    numbers = past.charge_of(subjects)["number"]
    return so_far_in_charge(subjects, numbers, past.resin, ["resin_volume"])["resin_volume"]


def flow_bv_h(subjects: pl.DataFrame, past: Past) -> pl.Series:
    """Return the flow of each subject in bed volumes per hour, null for those without a flow."""
    if "flow" not in subjects.columns:
        return pl.Series([None], dtype=pl.Float64).new_from_index(0, subjects.height)
    flow_l_h = subjects["flow"] * MIN_PER_H
    return ratio(flow_l_h, resin_volume(subjects, past))


def ratio(dividend: pl.Series, divisor: pl.Series) -> pl.Series:
    """Return the quotient, null where the divisor is not positive."""
    by = pl.when(pl.col("divisor") > 0).then("divisor")
    return pl.DataFrame({"dividend": dividend, "divisor": divisor}).select(pl.col("dividend") / by)[
        "dividend"
    ]


def sums_so_far(subjects: pl.DataFrame, past: Past, names: Sequence[str]) -> pl.DataFrame:
    """Return what ran through each subject's charge up to its instant.

    Args:
        subjects: has ``tank`` and ``at``; any order.
        past: the records, of which those up to each subject's instant count.
        names: the sums wanted, of ``TOTALS``.

    Returns:
        A frame of the named sums, row for row beside the subjects: 0 before the first rinse,
        null where a sum is unknown.
    """
    charge = past.charge_of(subjects)
    take = [TOTALS[name] for name in names]
    found = so_far_in_charge(subjects, charge["number"], past.usage, take)
    rinsed = pl.col("number").is_not_null()
    return found.select(
        pl.when(rinsed).then(pl.col(TOTALS[name])).when(charge["known"]).then(0.0).alias(name)
        for name in names
    )


def spent_eq(subjects: pl.DataFrame, past: Past) -> pl.Series:
    """Return the equivalents spent by each subject's charge up to its instant [eq]."""
    return sums_so_far(subjects, past, ["charge_equivalents"]).to_series()


def _age(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    charge = past.charge_of(subjects)
    age_d = days_since(subjects["at"], charge["begins"]).clip(lower_bound=0)
    return charge.select(
        pl.when("known").then(age_d).alias("charge_age"), pl.col("record").alias("evidence")
    )


def _volume(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    volume_l = resin_volume(subjects, past).alias("charge_resin_volume")
    return pl.DataFrame([volume_l, _evidence(subjects, past)])


def _throughput(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    names = ("charge_rinses", "charge_water")
    return sums_so_far(subjects, past, names).with_columns(_evidence(subjects, past))


def _equivalents(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    spent = spent_eq(subjects, past).alias("charge_equivalents")
    return pl.DataFrame([spent, _evidence(subjects, past)])


def _evidence(subjects: pl.DataFrame, past: Past) -> pl.Series:
    return past.charge_of(subjects)["record"].alias("evidence")


def _capacity_eq(subjects: pl.DataFrame, past: Past) -> pl.Series:
    grades = past.charge_of(subjects)["grade"]
    return grade_rows(grades, past.models)["capacity_eq_l"] * resin_volume(subjects, past)


def _capacity(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    capacity = _capacity_eq(subjects, past).alias("charge_capacity")
    return pl.DataFrame([capacity, _evidence(subjects, past)])


def _used(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    used = _used_fraction(subjects, past).alias("used_fraction")
    return pl.DataFrame([used, _evidence(subjects, past)])


def _used_fraction(subjects: pl.DataFrame, past: Past) -> pl.Series:
    """Return equivalents spent over capacity; null where there is no capacity."""
    return ratio(spent_eq(subjects, past), _capacity_eq(subjects, past))


def _litres_left(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    grades = past.charge_of(subjects)["grade"]
    load_eq_l = load_of(inlet_at(subjects, past.history), grades, past.models)
    left_eq = _capacity_eq(subjects, past) - spent_eq(subjects, past)
    left_l = left_eq.clip(lower_bound=0) / load_eq_l
    return pl.DataFrame([left_l.alias("litres_left"), _evidence(subjects, past)])


def _expected_outlet(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    expected = outlet_of(
        inlet_at(subjects, past.history),
        past.charge_of(subjects)["grade"],
        past.models,
        _used_fraction(subjects, past),
        flow_bv_h(subjects, past),
    )
    return pl.DataFrame([expected.alias("expected_outlet"), _evidence(subjects, past)])


CHARGE_FACTS = (
    FactGroup(
        ON_A_CHARGE,
        (
            Fact(
                "charge_age",
                "number",
                "days since the resin in the tank was loaded",
                "d",
                low=0,
                per_day=1,
                looks_at=("resin_change.change",),
            ),
        ),
        _age,
        reads=("resin_change",),
    ),
    FactGroup(
        ON_A_CHARGE,
        (
            Fact(
                "charge_resin_volume",
                "number",
                "resin in the charge, what was topped up in it",
                "L",
                low=0,
                looks_at=("each resin_change.resin_volume",),
            ),
        ),
        _volume,
        reads=("resin_change",),
    ),
    FactGroup(
        ON_A_CHARGE,
        (
            Fact(
                "charge_rinses",
                "number",
                "vehicles rinsed on the charge so far; unknown once a count was not logged",
                "count",
                low=0,
                looks_at=(
                    "resin_change.change",
                    "each rinse.rinses",
                ),
            ),
            Fact(
                "charge_water",
                "number",
                "water through the charge so far; unknown once that of a rinse is",
                "L",
                low=0,
                looks_at=(
                    "resin_change.change",
                    "each rinse.rinse_water",
                ),
            ),
        ),
        _throughput,
    ),
    FactGroup(
        ON_A_CHARGE,
        (
            Fact(
                "charge_equivalents",
                "number",
                "equivalents that the water so far spent by the model of the grade; unknown once "
                "the water or the inlet of a rinse is",
                "eq",
                low=0,
                looks_at=(
                    "charge_water",
                    "model",
                    "reading.inlet_tds",
                    "reading.inlet_conductivity",
                    "water_analysis.conductivity",
                ),
            ),
        ),
        _equivalents,
        asks_models=True,
    ),
    FactGroup(
        ON_A_CHARGE,
        (
            Fact(
                "charge_capacity",
                "number",
                "what the charge can take up: the mean capacity of its grade times its resin",
                "eq",
                low=0,
                looks_at=(
                    "model",
                    "charge_resin_volume",
                ),
            ),
        ),
        _capacity,
        asks_models=True,
    ),
    FactGroup(
        ON_A_CHARGE,
        (
            Fact(
                "used_fraction",
                "number",
                "equivalents spent over the capacity of the charge; above 1 it is overrun",
                "1",
                low=0,
                looks_at=(
                    "charge_equivalents",
                    "charge_capacity",
                ),
            ),
        ),
        _used,
        asks_models=True,
    ),
    FactGroup(
        ON_A_CHARGE,
        (
            Fact(
                "litres_left",
                "number",
                "litres of the last inlet water until the capacity of the charge is used up; 0 "
                "beyond",
                "L",
                low=0,
                looks_at=(
                    "charge_equivalents",
                    "charge_capacity",
                    "reading.inlet_tds",
                    "reading.inlet_conductivity",
                    "water_analysis.conductivity",
                ),
            ),
        ),
        _litres_left,
        asks_models=True,
    ),
    FactGroup(
        ON_A_CHARGE,
        (
            Fact(
                "expected_outlet",
                "number",
                "what the model of the grade expects the outlet to show now, above pure water",
                "mg/L",
                low=0,
                looks_at=(
                    "used_fraction",
                    "model",
                    "reading.inlet_tds",
                    "reading.inlet_conductivity",
                    "water_analysis.conductivity",
                ),
            ),
        ),
        _expected_outlet,
        asks_models=True,
    ),
)
