"""Facts about how sure readings are: the standard uncertainty of what a meter showed.

What a meter showed is taken on the meter's own scale. Its factor from conductivity to TDS is a
convention of that scale and adds nothing, unless the register leaves it open: then the reading may
have been any meter's.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import polars as pl

from qa_engine.facts.fact import UNCERTAINTY, Fact, FactGroup
from qa_engine.facts.past import Past
from qa_engine.facts.reading_facts import SIDES, as_tds, last_outlet
from qa_engine.facts.uncertainty_budget import BUDGET_INPUTS, Budget, budget_of
from qa_engine.facts.uncertainty_total import total_of

READ = {
    "inlet_tds": "mg/L",
    "outlet_tds": "mg/L",
    "inlet_conductivity": "uS/cm",
    "outlet_conductivity": "uS/cm",
}
"""What a reading states that a meter showed, with its unit."""

LOOKED_AT = (
    "meter",
    *(f"meters.{name}" for name in ("accuracy_percent", "accuracy_digits", "resolution")),
    "meters.compensation",
)

Readings = Callable[[pl.DataFrame, Past], pl.DataFrame]


def _as_logged(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    return subjects


def _as_tds(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    """Return readings with what they showed as TDS; made of conductivity, it has the same parts."""
    return subjects.with_columns(as_tds(subjects, side, past.register) for side in SIDES)


def _last_from_flowing_water(subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    """Return the reading that ``last_outlet_tds`` of each subject comes from, nulls for none.

    What was read after a resin change names no meter, so that its uncertainty is not known.
    """
    found = last_outlet(subjects, past, BUDGET_INPUTS)
    return found.with_columns(pl.col("read at").alias("at"))


@dataclass(frozen=True)
class Shown:
    """Something that a meter showed, as a fact.

    Attributes:
        fact: the fact.
        field: the field of the reading that it comes from.
        unit: its unit.
        readings: finds the reading of each subject.
    """

    fact: str
    field: str
    unit: str
    readings: Readings

    def budget(self, subjects: pl.DataFrame, past: Past) -> Budget:
        """Return what makes up the uncertainty of the fact, row for row beside the subjects."""
        readings = self.readings(subjects, past)
        return budget_of(readings, self.field, self.unit, past)


_OF_READINGS = {name: Shown(name, name, of, _as_logged) for name, of in READ.items()}
_OF_READINGS |= {f"{s}_as_tds": Shown(f"{s}_as_tds", f"{s}_as_tds", "mg/L", _as_tds) for s in SIDES}
_LAST = Shown("last_outlet_tds", "outlet_as_tds", "mg/L", _last_from_flowing_water)

SHOWN: dict[str, dict[str, Shown]] = {
    "reading": _OF_READINGS,
    **{subject: {"last_outlet_tds": _LAST} for subject in ("tank", "charge", "rinse")},
}
"""What meters showed, by kind of subject and name of the fact."""


def _uncertainty(shown: Shown, subjects: pl.DataFrame, past: Past) -> pl.DataFrame:
    readings = shown.readings(subjects, past)
    found = total_of(readings, shown.field, shown.unit, past)
    return found.rename({"total": UNCERTAINTY + shown.fact, "check": "evidence"})


def _group(subjects: tuple[str, ...], shown: Shown) -> FactGroup:
    meaning = (
        f"standard uncertainty of {shown.fact.replace('_', ' ')}, from the meter's row in the "
        "register, its last check and the water temperature; for guarded acceptance"
    )
    looked_at = (shown.fact, *LOOKED_AT)
    fact = Fact(UNCERTAINTY + shown.fact, "number", meaning, shown.unit, low=0, looks_at=looked_at)
    return FactGroup(subjects, (fact,), partial(_uncertainty, shown))


UNCERTAINTY_FACTS = (
    *(_group(("reading",), shown) for shown in _OF_READINGS.values()),
    _group(("tank", "charge", "rinse"), _LAST),
)
