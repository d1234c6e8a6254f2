"""Limits: the quantities that rules measure against, each with its basis."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import polars as pl

from qa_engine.conditions.numbers import Chosen, Constant, Fixed, Subject
from qa_engine.errors import UnitError
from qa_engine.fields import NUMBER
from qa_engine.units import Unit, unit

_QUANTITY = re.compile(rf"({NUMBER})(?: *([^\s0-9].*))?", re.ASCII)


@dataclass(frozen=True)
class Limit:
    """A limit of a rule.

    Attributes:
        name: how the rule's conditions write it.
        unit: the unit it is written in.
        values: its value, or its value per word of the fact ``by``, in its unit.
        by: the fact that chooses the value; None if there is one for all.
        basis: what it rests on.
        review_by: the day by which somebody must look at it again.
        written: the quantity as written.
    """

    name: str
    unit: Unit
    values: float | Mapping[str, float]
    by: str | None
    basis: str
    review_by: date | None
    written: str

    @property
    def number(self) -> Fixed:
        """Return it as a part of a condition."""
        if isinstance(self.values, Mapping):
            return Chosen(str(self.by), self.values, self.unit)
        return Constant(self.values, self.unit)

    def expression(self) -> pl.Expr:
        """Return its value as a column in its unit, null where no value is given."""
        return self.number.raw()

    def of_one(self, subject: Subject) -> float | None:
        """Return its value for one subject in its unit, None where no value is given."""
        return self.number.of_one(subject)


def read_quantity(written: str, plain: str = "1") -> tuple[float, Unit]:
    """Return number and unit of a quantity such as ``20 mg/L``.

    Args:
        written: a number, and its unit unless it is ``plain``.
        plain: the unit of a number that is written alone.

    Raises:
        UnitError: this is not a finite number, or its unit is not known.
    """
    found = _QUANTITY.fullmatch(written)
    number = float(found[1]) if found else float("inf")
    if not found or number in (float("inf"), float("-inf")):
        raise UnitError(f"'{written[:64]}' is not a number with a unit, such as 20 mg/L")
    return number, unit(found[2] or plain)
