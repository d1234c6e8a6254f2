"""Facts from the register: what was entered there for a tank, meter or class at that instant."""

import math
from functools import partial

import polars as pl

from qa_engine.facts.fact import Fact, FactGroup
from qa_engine.facts.past import Past
from qa_engine.fields import Quantity, Word
from qa_engine.history import valid_rows
from qa_engine.records import TANK_KINDS
from qa_engine.register import TABLES

TANKISH = (*TANK_KINDS, "charge", "tank")
"""The subjects that belong to a tank."""

MM3_PER_L = 1e6

KNOWN_IN = {"vans": "van_known", "vehicle_classes": "class_known", "sources": "source_known"}
"""Facts that tell whether what a record names stands in a table of the register."""

_OF_TANKS = {
    "vessel_volume": "volume of the empty vessel, as the register has it",
    "bore": "inner diameter of the vessel, as the register has it",
    "rated_pressure": "greatest pressure on the vessel's data plate, as the register has it",
    "rated_temperature": "greatest temperature on the vessel's data plate, as the register has it",
    "freeboard_min": "least height left free above the resin, as the register has it",
    "freeboard_max": "greatest height left free above the resin, as the register has it",
    "construction": "what the vessel is made of, as the register has it",
    "position": "where the tank stands in the train, as the register has it",
    "no_examination_by": "on whose authority the vessel needs no periodic examination, as the "
    "register has it",
    "no_examination_document": "the document that says the vessel needs no periodic examination, "
    "as the register has it",
}


def _registered(table: str, field: str, name: str, meaning: str) -> Fact:
    """Return the declaration of a fact that is a field of the register, with its unit and range."""
    declared, at = TABLES[table].fields[field], (f"{table}.{field}",)
    if isinstance(declared, Quantity):
        low, high, of = declared.low, declared.high, declared.unit
        return Fact(name, "number", meaning, of, low=low, high=high, looks_at=at)
    words = declared.words if isinstance(declared, Word) else ()
    return Fact(name, "words", meaning, words=words, looks_at=at)


def _tank(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    found = valid_rows(subjects, past.register, "tanks", ["holds_from", *_OF_TANKS])
    return found.select(pl.col("holds_from").is_not_null().alias("tank_known"), *_OF_TANKS)


def _meter(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    found = valid_rows(subjects, past.register, "meters", ["holds_from", "factor", "resolution"])
    return found.select(
        pl.col("holds_from").is_not_null().alias("meter_known"),
        pl.col("factor").alias("meter_factor"),
        pl.col("resolution").alias("meter_resolution"),
    )


def _least_full_charge(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    dimensions = ["vessel_volume", "bore", "freeboard_max"]
    found = valid_rows(subjects, past.register, "tanks", dimensions)
    free_l = math.pi / 4 * pl.col("bore") ** 2 * pl.col("freeboard_max") / MM3_PER_L
    least_l = pl.col("vessel_volume") - free_l
    return found.select(pl.when(least_l > 0).then(least_l).alias("least_full_charge"))


def _class_water(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    found = valid_rows(subjects, past.register, "vehicle_classes", ["water_per_rinse"])
    return found.rename({"water_per_rinse": "class_water_per_rinse"})


def _known(table: str, subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    """Return whether the row that each subject names stands in a table; null if it names none."""
    key = TABLES[table].key
    held = valid_rows(subjects, past.register, table, ["holds_from"])["holds_from"].is_not_null()
    named = subjects[key].is_not_null()
    return pl.DataFrame({"held": held, "named": named}).select(
        pl.when("named").then("held").alias(KNOWN_IN[table])
    )


def _base_known(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    """Return whether a van or a source has stood in the register at the base by then."""
    rows = [past.register.table(name).select("base", "holds_from") for name in ("vans", "sources")]
    first = pl.concat(rows).drop_nulls("base").group_by("base").agg(pl.col("holds_from").min())
    asked = subjects.select("base", "at").join(first, on="base", how="left", maintain_order="left")
    stood = (pl.col("holds_from") <= pl.col("at")).fill_null(value=False)
    return asked.select(pl.when(pl.col("base").is_not_null()).then(stood).alias("base_known"))


def _known_fact(key: str, name: str, place: str) -> Fact:
    meaning = (
        f"the {key.replace('_', ' ')} stands in the register at that time{place}; unknown, not "
        "no, where the record names none"
    )
    return Fact(name, "yes/no", meaning, absent="no", looks_at=(key,))


def _known_group(table: str, *subjects: str) -> FactGroup:
    fact = _known_fact(TABLES[table].key, KNOWN_IN[table], "")
    return FactGroup(subjects, (fact,), partial(_known, table), reads=())


_METER_KNOWN = Fact(
    "meter_known", "yes/no", "the meter stands in the register at that time", absent="no"
)
_METER_FACTOR = _registered(
    "meters",
    "factor",
    "meter_factor",
    "milligrams per litre that the meter shows for each microsiemens per centimetre",
)
_METER_RESOLUTION = _registered(
    "meters", "resolution", "meter_resolution", "smallest step of TDS that the meter shows"
)

REGISTER_FACTS = (
    FactGroup(
        TANKISH,
        (
            Fact("tank_known", "yes/no", "the tank stands in the register then", absent="no"),
            *(_registered("tanks", name, name, meaning) for name, meaning in _OF_TANKS.items()),
        ),
        _tank,
        reads=(),
    ),
    _known_group("vans", "rinse", "reading", "resin_change", "complaint"),
    _known_group("vehicle_classes", "rinse", "complaint"),
    _known_group("sources", "rinse", "reading", "water_analysis"),
    FactGroup(
        ("disposal",),
        (_known_fact("base", "base_known", " with a van or a source of water"),),
        _base_known,
        reads=(),
    ),
    FactGroup(
        ("resin_change",),
        (
            Fact(
                "least_full_charge",
                "number",
                "least resin that counts as a full charge: the vessel's volume less the greatest "
                "freeboard over its bore; unknown where the register's figures leave no room",
                "L",
                low=0,
                looks_at=(
                    "vessel_volume",
                    "bore",
                    "freeboard_max",
                ),
            ),
        ),
        _least_full_charge,
        reads=(),
    ),
    FactGroup(("reading",), (_METER_KNOWN, _METER_FACTOR, _METER_RESOLUTION), _meter, reads=()),
    FactGroup(("meter_check",), (_METER_KNOWN, _METER_FACTOR), _meter, reads=()),
    FactGroup(("meter",), (_METER_FACTOR,), _meter, reads=()),
    FactGroup(
        ("rinse",),
        (
            _registered(
                "vehicle_classes",
                "water_per_rinse",
                "class_water_per_rinse",
                "water that one rinse of this class of vehicle takes, as the register has it",
            ),
        ),
        _class_water,
        reads=(),
    ),
)
