"""What the parts of a condition can be, and how numbers of different units come together."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cache

from qa_engine.conditions.numbers import (
    Chosen,
    Constant,
    Converted,
    Extreme,
    Measured,
    Negative,
    Number,
    Reckoned,
)
from qa_engine.conditions.verdicts import (
    All,
    Compared,
    Either,
    Not,
    Open,
    Recorded,
    SameWord,
    Stated,
    Verdict,
)
from qa_engine.units import Unit, between, unit, unit_names


@dataclass(frozen=True)
class Words:
    """A fact of words, from a closed list if ``words`` is not empty."""

    name: str
    words: tuple[str, ...]


@dataclass(frozen=True)
class Quoted:
    """A word written out."""

    word: str


@dataclass(frozen=True)
class Records:
    """A fact that is a list of records."""

    name: str


@dataclass(frozen=True)
class Unsure:
    """A name that is not known, or a part whose fault is already on the list."""


Term = Number | Verdict | Words | Quoted | Records | Unsure

NUMBERS = Measured | Constant | Chosen | Converted | Reckoned | Negative | Extreme
VERDICTS = Open | Stated | Recorded | Compared | SameWord | Not | All | Either

PLAIN_UNITS = ("1", "count", "%")
"""Units in which a bare number may be written; it then means the unit of what it is beside."""


def described(term: Term) -> str:
    """Return what a part of a condition is, in words."""
    if isinstance(term, NUMBERS):
        if term.unit is None:
            return "a bare number"
        thing = "limit" if isinstance(term, Constant | Chosen) else "number"
        return (
            f"a {thing} without unit" if term.unit.name == "1" else f"a {thing} in {term.unit.name}"
        )
    if isinstance(term, Words):
        return "a fact of words"
    if isinstance(term, Quoted):
        return "a quoted word"
    return "a list of records" if isinstance(term, Records) else "a yes or no"


def without_dimension(one: Unit | None) -> bool:
    """Tell whether numbers in a unit may stand beside bare numbers."""
    return one is None or same_quantity(one, unit("1"))


@cache
def same_quantity(one: Unit, other: Unit) -> bool:
    """Tell whether two units measure the same quantity."""
    return one.measures_same_as(other)


@cache
def units_like(one: Unit) -> tuple[str, ...]:
    """Return the units that may be written for the same quantity, the preferred spellings."""
    return tuple(
        name for name in unit_names() if unit(name).name == name and same_quantity(unit(name), one)
    )


@cache
def _factor_and_shift(written: Unit, wanted: Unit) -> tuple[float, float]:
    conversion = between(written, wanted)
    return conversion.factor, conversion.shift


def in_unit(number: Number, wanted: Unit) -> Number:
    """Return a number in another unit of the same quantity; a bare number is taken as it is."""
    factor, shift = _factor_and_shift(number.unit, wanted) if number.unit else (1.0, 0.0)
    if isinstance(number, Constant | Chosen):
        fixed = number.mapped(lambda one: one * factor + shift)
        if fixed.is_finite:
            return replace(fixed, unit=wanted)
    elif (factor, shift) == (1.0, 0.0):
        return number
    return Converted(number, factor, shift, wanted)


def together(left: Number, right: Number) -> tuple[Number, Number] | None:
    """Return two numbers in one unit, None if they do not measure the same thing.

    What is fixed is converted to the unit of what is measured, else the right to the left. A bare
    number goes with numbers without dimension only: in their own unit if that is one of
    ``PLAIN_UNITS``, else (mg/L over g/L) after these have been brought to 1.
    """
    wanted = common_unit((left.unit, right.unit))
    if wanted is None:
        return left, right
    if not all(same_quantity(one.unit or unit("1"), wanted) for one in (left, right)):
        return None
    fixed = isinstance(left, Constant | Chosen) and not isinstance(right, Constant | Chosen)
    if fixed and left.unit and right.unit:
        wanted = right.unit
    return in_unit(left, wanted), in_unit(right, wanted)


def common_unit(units: Iterable[Unit | None]) -> Unit | None:
    """Return the unit in which numbers come together, None if all of them are bare."""
    units = tuple(units)
    first = next((one for one in units if one), None)
    by_nature = first is None or first.name in PLAIN_UNITS or None not in units
    return first if by_nature or not without_dimension(first) else unit("1")


def unit_of(sign: str, left: Unit | None, right: Unit | None) -> Unit | None:
    """Return the unit of a sum, product or quotient of numbers already brought together."""
    if sign in ("+", "-"):
        return left or right
    if right is None:
        return left
    if sign == "*":
        return right if left is None else _product(left, right)
    return _quotient(left or unit("1"), right)


@cache
def _product(one: Unit, other: Unit) -> Unit:
    return one * other


@cache
def _quotient(one: Unit, other: Unit) -> Unit:
    return one / other
