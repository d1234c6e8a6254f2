"""Comparisons that allow for the uncertainty of what was measured.

A guard holds where the value conforms with at least the confidence asked for, does not hold where
it conforms with at most the rest, and is open in between. Far from zero and from a second limit
that is plain arithmetic: the value must keep a quantile of its standard uncertainty away from the
limit. Only the few values near both are asked for their probability.
"""

import operator
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property, reduce
from itertools import pairwise
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from qa_engine.conditions.numbers import Constant, Number, Subject, finite, guarded
from qa_engine.conditions.verdicts import (
    COMPARE,
    GIVE,
    All,
    Compared,
    Either,
    Not,
    Verdict,
    eased,
)
from qa_engine.probability import conformance_probability, quantile
from qa_engine.units import Unit

FAR = 8.5
"""So many standard uncertainties away a limit no longer matters, to the last binary digit."""

_BEYOND = {"<": np.inf, "<=": np.inf, ">": -np.inf, ">=": -np.inf}
"""Where a limit stands that is never met, by the sign of the comparison."""

Bound = float | pl.Series
Places = NDArray[np.int64]


@dataclass(frozen=True)
class RootSum:
    """The standard uncertainty of a difference, from those of its two sides.

    What one meter gets wrong on both sides cancels in part; that is not counted on.
    """

    left: Number
    right: Number
    steady: bool = False

    @property
    def unit(self) -> Unit | None:
        return self.left.unit

    def raw(self) -> pl.Expr:
        left, right = self.left.raw(), self.right.raw()
        return (left * left + right * right).sqrt()

    def checks(self) -> list[pl.Expr]:
        return [*self.left.checks(), *self.right.checks()]

    def of_one(self, subject: Subject) -> float | None:
        left, right = self.left.of_one(subject), self.right.of_one(subject)
        if left is None or right is None:
            return None
        return finite(float(np.sqrt(left * left + right * right)))


@dataclass(frozen=True)
class Guard:
    """A measured number held against one limit, or a lower and an upper one.

    Attributes:
        sides: the comparisons as written, turned so that the number stands left in each; at most
            one from above and one from below.
        spread: the standard uncertainty of the number, in its unit.
        measured: the uncertain facts in it.
        confidence: how probable it must be that the number conforms, at least 0.5.
        floor: what the true value cannot be below; None if nothing is known.
    """

    sides: tuple[Compared, ...]
    spread: Number
    measured: tuple[str, ...]
    confidence: float
    floor: float | None = None

    @property
    def number(self) -> Number:
        """Return what is held against the limits."""
        return self.sides[0].left

    @cached_property
    def span(self) -> float:
        """Return how many standard uncertainties the value must keep from a limit."""
        return quantile(self.confidence)

    @cached_property
    def near(self) -> float:
        """Return within how many standard uncertainties two limits get into each other's way."""
        return FAR + quantile(0.5 + self.confidence / 2)

    def expression(self) -> pl.Expr:
        plain = reduce(operator.and_, (self._clear(side) for side in self.sides))
        return self._asked(self._settled, pl.Boolean(), plain)

    def probability(self) -> pl.Expr:
        """Return how probable it is that the number conforms, as an expression."""

        def likely(_: pl.Series, y: pl.Series, u: pl.Series, limits: list[Bound]) -> pl.Series:
            return self._probabilities(y, u, limits)

        return self._asked(likely, pl.Float64(), self.number.raw())

    def of_one(self, subject: Subject) -> bool | None:
        number, spread = self.number.of_one(subject), self.spread.of_one(subject)
        if number is None or spread is None or spread < 0:
            return None
        rights = [side.right.of_one(subject) for side in self.sides]
        pairs = zip(self.sides, rights, strict=True)
        limits = [_BEYOND[s.sign] if r is None else eased(r, GIVE[s.sign]) for s, r in pairs]
        answers = [
            COMPARE[side.sign](number, limit) if abs(number - limit) >= spread * self.span else None
            for side, limit in zip(self.sides, limits, strict=True)
        ]
        plain = False if False in answers else None if None in answers else True
        if any(spread > gap / self.near for gap in self._gaps([*limits])):
            y, u = (pl.Series([one], dtype=pl.Float64) for one in (number, spread))
            plain = self._settled(pl.Series([plain], dtype=pl.Boolean), y, u, [*limits])[0]
        return None if plain and None in rights else plain

    def _clear(self, side: Compared) -> pl.Expr:
        """Return whether one side holds, null within so many uncertainties of its limit."""
        number, limit = self.number.raw(), side.bound()
        clear = (number - limit).abs() >= self.spread.raw() * self.span
        return pl.when(clear).then(side.raw())

    def _asked(
        self,
        ask: Callable[[pl.Series, pl.Series, pl.Series, list[Bound]], pl.Series],
        dtype: pl.DataType,
        first: pl.Expr,
    ) -> pl.Expr:
        """Return an expression that asks whole columns, null where a number is missing."""
        numbers = (self.number, self.spread)
        free = [side.right for side in self.sides if not isinstance(side.right, Constant)]

        def answer(columns: Sequence[pl.Series]) -> pl.Series:
            rest = iter(columns[3:])
            rights = [side.right for side in self.sides]
            limits = [r.number if isinstance(r, Constant) else next(rest) for r in rights]
            found = ask(columns[0], columns[1], columns[2], self._eased(limits))
            return _as_far_as_known(found, columns[3:])

        inputs = [first, *(one.raw() for one in (*numbers, *free))]
        return guarded(pl.map_batches(inputs, answer, return_dtype=dtype), *numbers, *free)

    def _eased(self, limits: Sequence[Bound]) -> list[Bound]:
        """Return the limit of each side with its slack; one that is missing is out of reach."""
        pairs = zip(self.sides, limits, strict=True)
        return [_moved(limit, side.sign) for side, limit in pairs]

    def _settled(
        self, plain: pl.Series, y: pl.Series, u: pl.Series, limits: list[Bound]
    ) -> pl.Series:
        """Return the plain answers, corrected where limits are too close for plain arithmetic."""
        crowded = self._crowded(y, u, limits)
        if not len(crowded):
            return plain
        likely = self._probabilities(y[crowded], u[crowded], [_at(one, crowded) for one in limits])
        sure = (likely >= self.confidence) | (likely <= 1.0 - self.confidence)
        answers = pl.select(pl.when(sure).then(likely >= self.confidence)).to_series()
        return plain.scatter(crowded, answers)

    def _probabilities(self, y: pl.Series, u: pl.Series, limits: list[Bound]) -> pl.Series:
        """Return how probable it is that each value conforms."""
        ends = self._ends(limits)
        floor = -np.inf if self.floor is None else self.floor
        numbers, spreads = y.to_numpy(), u.to_numpy()
        with np.errstate(divide="ignore", invalid="ignore"):
            likely = conformance_probability(numbers, spreads, **ends, floor=floor)
        holds = [COMPARE[s.sign](y, limit) for s, limit in zip(self.sides, limits, strict=True)]
        exact = reduce(operator.and_, holds).cast(pl.Float64).to_numpy()
        sure = np.where(spreads == 0, exact, np.nan)
        return pl.Series(np.where(spreads > 0, likely, sure)).fill_nan(None)

    def _ends(self, limits: list[Bound]) -> dict[str, NDArray[np.float64]]:
        pairs = zip(self.sides, limits, strict=True)
        return {
            "upper" if side.sign in ("<", "<=") else "lower": np.asarray(limit, np.float64)
            for side, limit in pairs
        }

    def _gaps(self, limits: list[Bound]) -> list[Any]:
        """Return how far apart the floor and the limits are, the floor and its neighbour first."""
        walls = limits[::-1] if self.sides[0].sign in ("<", "<=") else limits
        walls = walls if self.floor is None else [self.floor, *walls]
        return [upper - lower for lower, upper in pairwise(walls)]

    def _crowded(self, y: pl.Series, u: pl.Series, limits: list[Bound]) -> Places:
        """Return where two limits, or a limit and the floor, get into each other's way."""
        places = [_closer(gap, u, self.near) for gap in self._gaps(limits)]
        if self.floor is not None:
            low = places[0]
            places[0] = low[(y[low].to_numpy() - self.floor) / FAR < u[low].to_numpy()]
        return np.unique(np.concatenate(places)) if places else np.zeros(0, np.int64)


def _closer(gap: Bound, u: pl.Series, near: float) -> Places:
    """Return where a gap is less than so many standard uncertainties."""
    closer = u > gap / near
    if not closer.any():
        return np.zeros(0, np.int64)
    return np.flatnonzero((closer & (u > 0)).fill_null(value=False).to_numpy())


def _moved(limit: Bound, sign: str) -> Bound:
    if isinstance(limit, pl.Series):
        return (limit + limit.abs() * GIVE[sign]).fill_null(_BEYOND[sign])
    return eased(limit, GIVE[sign])


def _as_far_as_known(found: pl.Series, limits: Sequence[pl.Series]) -> pl.Series:
    """Return answers without those that a missing limit could still overturn."""
    lacking = [limit.is_null() for limit in limits if limit.null_count()]
    if not lacking:
        return found
    known = ~reduce(operator.or_, lacking)
    kept = known | ~found if found.dtype == pl.Boolean else known
    return pl.select(pl.when(kept).then(found)).to_series()


def _at(limit: Bound, places: Places) -> Bound:
    return limit[places] if isinstance(limit, pl.Series) else limit


def guards_in(verdict: Verdict) -> tuple[Guard, ...]:
    """Return the guards of a condition's tree, in the order written."""
    match verdict:
        case Guard():
            return (verdict,)
        case Not():
            return guards_in(verdict.inner)
        case All() | Either():
            return tuple(guard for part in verdict.parts for guard in guards_in(part))
    return ()


def probability_of(verdict: Verdict) -> pl.Expr:
    """Return how probable it is that a condition holds, null if nothing can be said.

    Of parts that must all hold the least probable counts, of alternatives the most probable; what
    is not uncertain counts as 1 or 0. For one comparison that is its probability of conformity.
    """
    match verdict:
        case Guard():
            return verdict.probability()
        case Not():
            return 1.0 - probability_of(verdict.inner)
        case All():
            return pl.min_horizontal(probability_of(part) for part in verdict.parts)
        case Either():
            return pl.max_horizontal(probability_of(part) for part in verdict.parts)
    return verdict.expression().cast(pl.Float64)
