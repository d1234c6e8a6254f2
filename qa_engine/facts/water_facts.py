"""Facts about the water that ran: through a rinse, over the bed, and by the counter of a tank."""

import math

import polars as pl

from qa_engine.charges import so_far_in_charge
from qa_engine.depletion.metering import BASES
from qa_engine.facts.charge_facts import MIN_PER_H, flow_bv_h, ratio
from qa_engine.facts.fact import Fact, FactGroup
from qa_engine.facts.past import Past
from qa_engine.history import valid_rows

L_PER_M3 = 1000
MM_PER_M = 1000


def _rinse_water(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    usage = past.usage.select("record", "water", "water_basis")
    if not subjects["record"].equals(usage["record"]):
        asked = subjects.select("record")
        usage = asked.join(usage, on="record", how="left", maintain_order="left")
    return usage.select(
        pl.col("water").alias("rinse_water"),
        pl.col("water_basis").alias("rinse_water_basis"),
        pl.col("record").alias("evidence"),
    )


def _bed_flow(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    return pl.DataFrame({"bed_flow": flow_bv_h(subjects, past), "evidence": subjects["record"]})


def _bed_velocity(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    bore_m = valid_rows(subjects, past.register, "tanks", ["bore"])["bore"] / MM_PER_M
    flow_m3_h = subjects["flow"] * MIN_PER_H / L_PER_M3
    velocity = ratio(flow_m3_h, math.pi / 4 * bore_m**2)
    return pl.DataFrame({"bed_velocity": velocity, "evidence": subjects["record"]})


def _counted(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    charge = past.charge_of(subjects)
    take = ["water_logged", "water_counted"]
    found = so_far_in_charge(subjects, charge["number"], past.counters, take)
    return found.select(*take, charge["record"].alias("evidence"))


WATER_FACTS = (
    FactGroup(
        ("rinse",),
        (
            Fact(
                "rinse_water",
                "number",
                "water of this rinse: as logged, else by the counter, else by vehicle class",
                "L",
                low=0,
                looks_at=(
                    "water_used",
                    "counter",
                    "rinses",
                    "class_water_per_rinse",
                ),
            ),
            Fact(
                "rinse_water_basis",
                "words",
                "where the water of this rinse is known from",
                words=BASES,
                looks_at=(
                    "water_used",
                    "counter",
                    "rinses",
                    "class_water_per_rinse",
                ),
            ),
        ),
        _rinse_water,
    ),
    FactGroup(
        ("rinse",),
        (
            Fact(
                "bed_flow",
                "number",
                "flow of this rinse over the volume of resin in the tank",
                "BV/h",
                low=0,
                looks_at=(
                    "flow",
                    "charge_resin_volume",
                ),
            ),
        ),
        _bed_flow,
    ),
    FactGroup(
        ("rinse",),
        (
            Fact(
                "bed_velocity",
                "number",
                "flow of this rinse over the cross-section of the vessel",
                "m/h",
                low=0,
                looks_at=(
                    "flow",
                    "bore",
                ),
            ),
        ),
        _bed_velocity,
    ),
    FactGroup(
        ("charge", "tank"),
        (
            Fact(
                "water_logged",
                "number",
                "litres logged between the first and the last counter value of the charge; "
                "unknown if a rinse in between has none",
                "L",
                low=0,
                looks_at=(
                    "rinse.counter",
                    "each rinse.water_used",
                ),
            ),
            Fact(
                "water_counted",
                "number",
                "litres by the counter between its first and its last value of the charge; "
                "unknown if it went backwards",
                "L",
                low=0,
                looks_at=(
                    "rinse.counter",
                    "resin_change.counter",
                ),
            ),
        ),
        _counted,
    ),
)
