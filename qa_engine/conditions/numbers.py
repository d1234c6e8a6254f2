"""Numbers in conditions: the same floating-point steps for whole columns and for one subject.

What is missing, and what overflows or divides by zero, is null after every step. Over columns the
steps are taken first and looked at afterwards: sums, products and numerators that are not finite
stay so to the end, so only the end, each divisor and each member of a least or greatest must be
checked. That keeps expressions short however deep they are.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import reduce
from typing import Protocol

import polars as pl

from qa_engine.units import Unit

Subject = Mapping[str, object]
"""The facts of one subject by name; None, NaN, infinite or absent is missing."""


class Number(Protocol):
    """A number, missing or not, of a subject.

    Attributes:
        unit: its unit; None for a bare number.
        steady: whether ``raw`` is finite or null by itself.
    """

    @property
    def unit(self) -> Unit | None: ...

    @property
    def steady(self) -> bool: ...

    def raw(self) -> pl.Expr:
        """Return the number, right wherever it and all of ``checks`` are finite."""

    def checks(self) -> list[pl.Expr]:
        """Return what must be finite besides the number itself."""

    def of_one(self, subject: Subject) -> float | None:
        """Return the number of one subject, None if it is missing."""


def finite(value: object) -> float | None:
    """Return a number that can be reckoned with; everything else is missing."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    try:
        number = float(value)
    except OverflowError:
        return None
    return number if math.isfinite(number) else None


@dataclass(frozen=True)
class Measured:
    """A fact, in its own unit."""

    name: str
    unit: Unit | None
    steady: bool = True

    def raw(self) -> pl.Expr:
        return pl.col(self.name)

    def checks(self) -> list[pl.Expr]:
        return []

    def of_one(self, subject: Subject) -> float | None:
        return finite(subject.get(self.name))


@dataclass(frozen=True)
class Constant:
    """A number that is the same for all subjects: written out, or a limit."""

    number: float
    unit: Unit | None
    steady: bool = True

    def raw(self) -> pl.Expr:
        return pl.lit(self.number, pl.Float64)

    def checks(self) -> list[pl.Expr]:
        return []

    def of_one(self, subject: Subject) -> float | None:
        return self.number

    @property
    def is_finite(self) -> bool:
        """Tell whether its number can be reckoned with."""
        return math.isfinite(self.number)

    def mapped(self, change: Callable[[float], float]) -> "Constant":
        """Return it with its number changed."""
        return replace(self, number=change(self.number))


@dataclass(frozen=True)
class Chosen:
    """A limit given per word of a fact; missing for a word that it does not name."""

    by: str
    numbers: Mapping[str, float]
    unit: Unit | None
    steady: bool = True

    def raw(self) -> pl.Expr:
        column = pl.col(self.by)
        # Comparing with each word in turn is three times as fast as looking words up.
        otherwise = pl.lit(None, pl.Float64)
        for word, number in self.numbers.items():
            otherwise = pl.when(column == word).then(pl.lit(number)).otherwise(otherwise)
        return otherwise

    def checks(self) -> list[pl.Expr]:
        return []

    def of_one(self, subject: Subject) -> float | None:
        word = subject.get(self.by)
        return self.numbers.get(word) if isinstance(word, str) else None

    @property
    def is_finite(self) -> bool:
        """Tell whether all its numbers can be reckoned with."""
        return all(map(math.isfinite, self.numbers.values()))

    def mapped(self, change: Callable[[float], float]) -> "Chosen":
        """Return it with each of its numbers changed."""
        return replace(self, numbers={word: change(n) for word, n in self.numbers.items()})


Fixed = Constant | Chosen
"""Numbers that are known when the rule is read, so that slack and units are folded in."""


@dataclass(frozen=True)
class Converted:
    """A number in another unit."""

    inner: Number
    factor: float
    shift: float
    unit: Unit | None
    steady: bool = False

    def raw(self) -> pl.Expr:
        scaled = self.inner.raw() * self.factor
        return scaled + self.shift if self.shift else scaled

    def checks(self) -> list[pl.Expr]:
        return self.inner.checks()

    def of_one(self, subject: Subject) -> float | None:
        number = self.inner.of_one(subject)
        if number is None:
            return None
        scaled = number * self.factor
        return finite(scaled + self.shift if self.shift else scaled)


@dataclass(frozen=True)
class Reckoned:
    """A sum, difference, product or quotient.

    A quotient is the product with the reciprocal: polars divides a column by a constant so, and
    what a condition says must not depend on how its parts are stored.
    """

    sign: str
    left: Number
    right: Number
    unit: Unit | None
    steady: bool = False

    def raw(self) -> pl.Expr:
        left, right = self.left.raw(), self.right.raw()
        match self.sign:
            case "+":
                return left + right
            case "-":
                return left - right
            case "*":
                return left * right
        return left * (pl.lit(1.0) / right)

    def checks(self) -> list[pl.Expr]:
        unsteady = self.sign == "/" and not self.right.steady
        divisor = [self.right.raw()] if unsteady else []
        return [*self.left.checks(), *self.right.checks(), *divisor]

    def of_one(self, subject: Subject) -> float | None:
        left, right = self.left.of_one(subject), self.right.of_one(subject)
        return None if left is None or right is None else reckon(self.sign, left, right)


def reckon(sign: str, left: float, right: float) -> float | None:
    """Return the sum, difference, product or quotient of two numbers, None if it is not finite."""
    match sign:
        case "+":
            return finite(left + right)
        case "-":
            return finite(left - right)
        case "*":
            return finite(left * right)
    return finite(left * (1.0 / right)) if right else None


@dataclass(frozen=True)
class Negative:
    """A number with its sign turned."""

    inner: Number

    @property
    def unit(self) -> Unit | None:
        return self.inner.unit

    @property
    def steady(self) -> bool:
        return self.inner.steady

    def raw(self) -> pl.Expr:
        return -self.inner.raw()

    def checks(self) -> list[pl.Expr]:
        return self.inner.checks()

    def of_one(self, subject: Subject) -> float | None:
        number = self.inner.of_one(subject)
        return None if number is None else -number


@dataclass(frozen=True)
class Size(Negative):
    """A number without its sign."""

    def raw(self) -> pl.Expr:
        return self.inner.raw().abs()

    def of_one(self, subject: Subject) -> float | None:
        number = self.inner.of_one(subject)
        return None if number is None else abs(number)


@dataclass(frozen=True)
class Extreme:
    """The least or the greatest of several numbers of one unit; missing if any of them is."""

    function: str
    members: tuple[Number, ...]
    unit: Unit | None
    steady: bool = False

    def raw(self) -> pl.Expr:
        members = [member.raw() for member in self.members]
        return pl.min_horizontal(members) if self.function == "min" else pl.max_horizontal(members)

    def checks(self) -> list[pl.Expr]:
        inner = [check for member in self.members for check in member.checks()]
        # The horizontal functions pass over nulls, so that each member must be there.
        varying = (member for member in self.members if not isinstance(member, Constant))
        return [*inner, *(member.raw() for member in varying)]

    def of_one(self, subject: Subject) -> float | None:
        numbers = [member.of_one(subject) for member in self.members]
        known = [number for number in numbers if number is not None]
        pick = min if self.function == "min" else max
        return pick(known) if len(known) == len(numbers) else None


def guarded(condition: pl.Expr, *numbers: Number) -> pl.Expr:
    """Return a condition about numbers, null wherever one of them is missing or not finite."""
    checks = [check for number in numbers for check in number.checks()]
    checks += [number.raw() for number in numbers if not number.steady]
    if not checks:
        return condition
    sound = reduce(lambda one, other: one & other, (check.is_finite() for check in checks))
    return pl.when(sound).then(condition)
