"""What can hold, not hold or be open: comparisons, yes-or-no facts and what joins them."""

import operator
from collections.abc import Callable
from dataclasses import dataclass
from functools import reduce
from typing import Any, Protocol

import polars as pl

from qa_engine.conditions.numbers import Chosen, Constant, Number, Subject, finite, guarded

SLACK = 1e-9
"""Relative slack of a comparison, so that a limit met exactly behaves as written.

1.1 bar is 110.00000000000001 kPa in binary, and 110 kPa must still be "not above 1.1 bar".
"""


class Verdict(Protocol):
    """Something that holds, does not hold, or is open for lack of evidence."""

    def expression(self) -> pl.Expr:
        """Return it as a Boolean expression over columns of facts; null is open."""

    def of_one(self, subject: Subject) -> bool | None:
        """Return whether it holds for one subject; None is open."""


@dataclass(frozen=True)
class Open:
    """What cannot be decided, because a name is not known."""

    def expression(self) -> pl.Expr:
        return pl.lit(None, pl.Boolean)

    def of_one(self, subject: Subject) -> bool | None:
        return None


@dataclass(frozen=True)
class Stated:
    """A yes-or-no fact."""

    name: str

    def expression(self) -> pl.Expr:
        return pl.col(self.name)

    def of_one(self, subject: Subject) -> bool | None:
        value = subject.get(self.name)
        return value if isinstance(value, bool) else None


@dataclass(frozen=True)
class Recorded:
    """Whether a fact is recorded: the only question that what is missing answers."""

    name: str

    def expression(self) -> pl.Expr:
        return pl.col(self.name).is_not_null()

    def of_one(self, subject: Subject) -> bool | None:
        value = subject.get(self.name)
        if isinstance(value, int | float) and not isinstance(value, bool):
            return finite(value) is not None
        return value is not None


GIVE = {"<": -SLACK, "<=": SLACK, ">": SLACK, ">=": -SLACK}
"""Which way the limit gives, by the sign of the comparison."""

COMPARE: dict[str, Callable[[Any, Any], Any]] = {
    "<": operator.lt,
    "<=": operator.le,
    ">": operator.gt,
    ">=": operator.ge,
}
"""How expressions, columns and single numbers are compared."""


@dataclass(frozen=True)
class Compared:
    """Two numbers of one unit held against each other, with slack about the right one."""

    sign: str
    left: Number
    right: Number

    def expression(self) -> pl.Expr:
        return guarded(self.raw(), self.left, self.right)

    def raw(self) -> pl.Expr:
        """Return the comparison, right wherever both numbers are finite."""
        holds: pl.Expr = COMPARE[self.sign](self.left.raw(), self.bound())
        return holds

    def bound(self) -> pl.Expr:
        """Return the right number with its slack."""
        give = GIVE[self.sign]
        if isinstance(self.right, Constant | Chosen):
            return self.right.mapped(lambda number: eased(number, give)).raw()
        right = self.right.raw()
        return right + right.abs() * give

    def of_one(self, subject: Subject) -> bool | None:
        left, right = self.left.of_one(subject), self.right.of_one(subject)
        if left is None or right is None:
            return None
        return bool(COMPARE[self.sign](left, eased(right, GIVE[self.sign])))


def eased(number: float, give: float) -> float:
    """Return a limit moved by its slack."""
    return number + abs(number) * give


def compared(sign: str, left: Number, right: Number) -> Verdict:
    """Return a comparison; two numbers are equal if neither exceeds the other."""
    if sign == "==":
        return All((Compared("<=", left, right), Compared(">=", left, right)))
    if sign == "!=":
        return Not(compared("==", left, right))
    return Compared(sign, left, right)


@dataclass(frozen=True)
class SameWord:
    """A fact of words that equals a quoted word, or another fact if ``other_fact``."""

    name: str
    other: str
    other_fact: bool = False

    def expression(self) -> pl.Expr:
        return pl.col(self.name) == (pl.col(self.other) if self.other_fact else pl.lit(self.other))

    def of_one(self, subject: Subject) -> bool | None:
        word = subject.get(self.name)
        other = subject.get(self.other) if self.other_fact else self.other
        return None if word is None or other is None else word == other


@dataclass(frozen=True)
class Not:
    """The contrary; of what is open, open."""

    inner: Verdict

    def expression(self) -> pl.Expr:
        return ~self.inner.expression()

    def of_one(self, subject: Subject) -> bool | None:
        holds = self.inner.of_one(subject)
        return None if holds is None else not holds


@dataclass(frozen=True)
class All:
    """Holds if every part does; one that does not settles it, whatever else is open."""

    parts: tuple[Verdict, ...]

    def expression(self) -> pl.Expr:
        return reduce(lambda one, other: one & other, (p.expression() for p in self.parts))

    def of_one(self, subject: Subject) -> bool | None:
        answers = [part.of_one(subject) for part in self.parts]
        return False if False in answers else None if None in answers else True


@dataclass(frozen=True)
class Either:
    """Holds if any part does, whatever else is open."""

    parts: tuple[Verdict, ...]

    def expression(self) -> pl.Expr:
        return reduce(lambda one, other: one | other, (p.expression() for p in self.parts))

    def of_one(self, subject: Subject) -> bool | None:
        answers = [part.of_one(subject) for part in self.parts]
        return True if True in answers else None if None in answers else False
