"""The closed list of units that records and rules may use, with exact factors.

The registry is built from nothing but the definitions below, so a unit that is not on the
list cannot be written by accident. Factors are exact fractions until the last step.

Sources: the foot, pound, grain and US gallon by their exact metric definitions; the equivalent of
calcium carbonate as half its molar mass of 100.0869 g/mol, hence 50.04345 g/eq (the rounded
50.0 g/eq of many tables differs by 0.087 %).
"""

from dataclasses import dataclass, field
from fractions import Fraction
from functools import cache
from typing import Any

import pint

from qa_engine.errors import LONGEST_NAME, UnitError, nearest

CACO3_G_PER_EQ = 50.04345
"""Equivalent mass of calcium carbonate that the whole engine uses [g/eq]."""

_DEFINITIONS = """
kilogram = [mass]
metre = [length]
second = [time]
ampere = [current]
kelvin = [temperature]
equivalent = [equivalents]
one = []
gram = 1/1000 * kilogram
milligram = 1/1000000 * kilogram
pound = 0.45359237 * kilogram
grain = 64.79891 * milligram
centimetre = 1/100 * metre
millimetre = 1/1000 * metre
inch = 0.0254 * metre
foot = 0.3048 * metre
litre = 1/1000 * metre ** 3
gallon = 3.785411784 * litre
minute = 60 * second
hour = 3600 * second
day = 86400 * second
pascal = kilogram / metre / second ** 2
kilopascal = 1000 * pascal
bar = 100 * kilopascal
psi = 4.4482216152605 / 0.00064516 * pascal
siemens = ampere ** 2 * second ** 3 / kilogram / metre ** 2
microsiemens = 1/1000000 * siemens
millisiemens = 1/1000 * siemens
milliequivalent = 1/1000 * equivalent
as_caco3 = equivalent / 50.04345 / gram
degC = kelvin; offset: 273.15
degF = 5/9 * kelvin; offset: 459.67 * 5/9
percent = 1/100 * one
"""

_UNITS = {
    "mg/L": "milligram / litre",
    "ppm": "milligram / litre",
    "g/L": "gram / litre",
    "mg/L as CaCO3": "milligram / litre * as_caco3",
    "gr/gal as CaCO3": "grain / gallon * as_caco3",
    "kgr/ft3 as CaCO3": "1000 * grain / foot ** 3 * as_caco3",
    "uS/cm": "microsiemens / centimetre",
    "mS/cm": "millisiemens / centimetre",
    "mg/L per uS/cm": "milligram / litre / (microsiemens / centimetre)",
    "L": "litre",
    "m3": "metre ** 3",
    "gal": "gallon",
    "ft3": "foot ** 3",
    "L/min": "litre / minute",
    "L/h": "litre / hour",
    "gpm": "gallon / minute",
    "kPa": "kilopascal",
    "bar": "bar",
    "psi": "psi",
    "degC": "degC",
    "degF": "degF",
    "kg": "kilogram",
    "g": "gram",
    "lb": "pound",
    "mm": "millimetre",
    "cm": "centimetre",
    "m": "metre",
    "in": "inch",
    "s": "second",
    "min": "minute",
    "h": "hour",
    "d": "day",
    "eq": "equivalent",
    "eq/L": "equivalent / litre",
    "meq/L": "milliequivalent / litre",
    "BV/h": "one / hour",
    "m/h": "metre / hour",
    "gpm/ft2": "gallon / minute / foot ** 2",
    "gpm/ft3": "gallon / minute / foot ** 3",
    "%": "percent",
    "count": "one",
    "1": "one",
}

_OTHER_SPELLINGS = {
    "\N{MICRO SIGN}S/cm": "uS/cm",
    "\N{GREEK SMALL LETTER MU}S/cm": "uS/cm",
    "gal (US)": "gal",
    "ft\N{SUPERSCRIPT THREE}": "ft3",
    "m\N{SUPERSCRIPT THREE}": "m3",
    "\N{DEGREE SIGN}C": "degC",
    "\N{DEGREE SIGN}F": "degF",
    "l": "L",
    "l/min": "L/min",
    "mg/l": "mg/L",
    "days": "d",
    "day": "d",
    "hours": "h",
    "minutes": "min",
    "percent": "%",
}


@dataclass(frozen=True)
class Unit:
    """A unit of the list, or one made from such units by multiplying and dividing."""

    name: str
    made_of: Any = field(repr=False)

    def __mul__(self, other: "Unit") -> "Unit":
        return Unit(f"{self.name} x {other.name}", self.made_of * other.made_of)

    def __truediv__(self, other: "Unit") -> "Unit":
        return Unit(f"{self.name} / ({other.name})", self.made_of / other.made_of)

    def measures_same_as(self, other: "Unit") -> bool:
        """Tell whether both units measure the same physical quantity."""
        return bool(self.made_of.dimensionality == other.made_of.dimensionality)

    @property
    def has_offset(self) -> bool:
        """Tell whether the zero of the scale is not the zero of the quantity (degC, degF)."""
        return self.name in ("degC", "degF")


@dataclass(frozen=True)
class Conversion:
    """Takes a number from one unit to another: ``number * factor + shift``, in this order."""

    factor: float
    shift: float

    def apply(self, number: float) -> float:
        return number * self.factor + self.shift if self.shift else number * self.factor


@cache
def _registry() -> Any:
    registry: Any = pint.UnitRegistry(None, non_int_type=Fraction)
    for line in _DEFINITIONS.strip().splitlines():
        registry.define(line)
    return registry


def unit_names() -> tuple[str, ...]:
    """Return every unit that may be written, the preferred spellings first."""
    return (*_UNITS, *_OTHER_SPELLINGS)


@cache
def unit(name: str) -> Unit:
    """Return the unit written as ``name``.

    Raises:
        UnitError: the unit is not on the list; the text names the nearest one that is.
    """
    name = _OTHER_SPELLINGS.get(name, name)
    if name not in _UNITS:
        hint = nearest(name, reversed(unit_names()))  # of two spellings the preferred one
        raise UnitError(
            f"'{name[:LONGEST_NAME]}' is not a unit known here{'; ' + hint if hint else ''}"
        )
    quantity = _registry().parse_expression(_UNITS[name])
    return Unit(name, _as_unit(name, quantity))


def _as_unit(name: str, quantity: Any) -> Any:
    """Return a pint unit for an expression that may carry a factor, such as kilograins."""
    if quantity.magnitude == 1:
        return quantity.units
    label = f"listed_{list(_UNITS).index(name)}"
    _registry().define(f"{label} = {_UNITS[name]}")
    return _registry().parse_units(label)


@cache
def conversion(written: str, wanted: str) -> Conversion:
    """Return what takes a number written in one unit to another.

    Raises:
        UnitError: a unit is unknown, or the two do not measure the same thing.
    """
    return between(unit(written), unit(wanted))


@cache
def between(written: Unit, wanted: Unit) -> Conversion:
    """Return what takes a number from one unit to another, factors exact until the last step.

    Raises:
        UnitError: the two do not measure the same thing.
    """
    if not written.measures_same_as(wanted):
        raise UnitError(f"{written.name} and {wanted.name} do not measure the same thing")
    quantity = _registry().Quantity
    shift = quantity(Fraction(0), written.made_of).to(wanted.made_of).magnitude
    factor = quantity(Fraction(1), written.made_of).to(wanted.made_of).magnitude - shift
    return Conversion(float(factor), float(shift))
