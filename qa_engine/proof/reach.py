"""Reach: all that a rule can make of whole ranges of subjects, by reasoning over intervals.

What is found here errs to one side only: an outcome that a rule can have is never left out, one
that it cannot have may be. So "it can never fail" is proven when failing is not within reach.
"""

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from itertools import product
from typing import NamedTuple

from qa_engine.conditions.numbers import (
    Chosen,
    Constant,
    Converted,
    Extreme,
    Measured,
    Negative,
    Number,
    Reckoned,
    Size,
)
from qa_engine.conditions.verdicts import (
    SLACK,
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
from qa_engine.conformity import outcome_of_one
from qa_engine.rulesets import Rule

Answers = frozenset[bool | None]
ANY: Answers = frozenset((True, False, None))


class Range(NamedTuple):
    """The numbers from ``low`` to ``high``; ``missing`` tells whether there may be none."""

    low: float
    high: float
    missing: bool = False


EVERYTHING = Range(-math.inf, math.inf, missing=True)

Box = Mapping[str, Range | frozenset[object]]
"""A range for each number fact, a set of values for each other one; None is missing."""

NOTHING = Range(math.inf, -math.inf, missing=True)
"""No number at all."""


def outcomes_within(rule: Rule, box: Box) -> frozenset[int]:
    """Return every outcome that a rule can have for the subjects of a box, and perhaps others."""
    applies = _answers(rule.applies_if.verdict, box) if rule.applies_if else frozenset((True,))
    requires = _answers(rule.requires.verdict, box)
    return frozenset(outcome_of_one(one, other) for one, other in product(applies, requires))


@dataclass(frozen=True)
class _Numbers:
    """Ranges of numbers over a box."""

    box: Box

    def of(self, number: Number) -> Range:
        """Return the range of a number; of a kind that is not known here, everything."""
        match number:
            case Measured():
                found = self.box.get(number.name, EVERYTHING)
                return found if isinstance(found, Range) else EVERYTHING
            case Constant():
                return Range(number.number, number.number)
            case Chosen():
                return self._chosen(number)
            case Converted():
                return self._converted(number)
            case Reckoned():
                return _reckoned(number.sign, self.of(number.left), self.of(number.right))
            case Size():
                low, high, missing = self.of(number.inner)
                least = 0.0 if low <= 0 <= high else min(abs(low), abs(high))
                return _range((least, max(abs(low), abs(high))), missing)
            case Negative():
                low, high, missing = self.of(number.inner)
                return Range(-high, -low, missing)
            case Extreme():
                pick = min if number.function == "min" else max
                members = [self.of(member) for member in number.members]
                ends = pick(one.low for one in members), pick(one.high for one in members)
                return Range(*ends, any(one.missing for one in members))
        return EVERYTHING

    def _chosen(self, number: Chosen) -> Range:
        words = self.box.get(number.by)
        if not isinstance(words, frozenset):
            return EVERYTHING
        numbers = [number.numbers[str(word)] for word in words if word in number.numbers]
        missing = any(word not in number.numbers for word in words)
        return _range(numbers, missing) if numbers else NOTHING

    def _converted(self, number: Converted) -> Range:
        low, high, missing = self.of(number.inner)
        ends = [one * number.factor + number.shift for one in (low, high)]
        return _range(ends, missing or not all(map(math.isfinite, ends)))


def _range(numbers: Iterable[float], missing: bool) -> Range:
    known = list(numbers)
    if any(math.isnan(one) for one in known):
        return EVERYTHING
    return Range(min(known), max(known), missing)


def _reckoned(sign: str, left: Range, right: Range) -> Range:
    if left == NOTHING or right == NOTHING:
        return NOTHING
    missing = left.missing or right.missing
    if sign == "/" and right.low <= 0 <= right.high:
        return EVERYTHING
    steps: dict[str, Callable[[float, float], float]] = {
        "+": lambda one, other: one + other,
        "-": lambda one, other: one - other,
        "*": lambda one, other: one * other,
        "/": lambda one, other: one / other,
    }
    ends = [steps[sign](one, other) for one in left[:2] for other in right[:2]]
    return _range(ends, missing or not all(map(math.isfinite, ends)))


def _answers(verdict: Verdict, box: Box) -> Answers:
    """Return every answer that a condition can have over a box, and perhaps others."""
    match verdict:
        case Open():
            return frozenset((None,))
        case Stated():
            return frozenset(one for one in ANY if one in _set(box, verdict.name)) or ANY
        case Recorded():
            return _recorded(box.get(verdict.name))
        case Compared():
            numbers = _Numbers(box)
            return _compared(verdict.sign, numbers.of(verdict.left), numbers.of(verdict.right))
        case SameWord():
            others = _set(box, verdict.other) if verdict.other_fact else {verdict.other}
            pairs = product(_set(box, verdict.name), others)
            return frozenset(None if None in pair else pair[0] == pair[1] for pair in pairs)
        case Not():
            inner = _answers(verdict.inner, box)
            return frozenset(None if one is None else not one for one in inner)
        case All():
            return _joined(verdict.parts, box, decided_by=False)
        case Either():
            return _joined(verdict.parts, box, decided_by=True)
    return ANY


def _set(box: Box, name: str) -> frozenset[object]:
    found = box.get(name)
    return found if isinstance(found, frozenset) else frozenset((True, False, None))


def _recorded(found: Range | frozenset[object] | None) -> Answers:
    if found is None:
        return frozenset((True, False))
    if isinstance(found, Range):
        there = found.low <= found.high
        return frozenset(one for one, can in ((True, there), (False, found.missing)) if can)
    return frozenset(one is not None for one in found)


def _joined(parts: Iterable[Verdict], box: Box, *, decided_by: bool) -> Answers:
    """Return the answers of clauses joined: one that decides does so whatever else is open."""
    each = [_answers(part, box) for part in parts]
    found: set[bool | None] = set()
    if any(decided_by in one for one in each):
        found.add(decided_by)
    undeciding = [one - {decided_by} for one in each]
    if all(undeciding):
        if any(None in one for one in undeciding):
            found.add(None)
        if all((not decided_by) in one for one in undeciding):
            found.add(not decided_by)
    return frozenset(found)


def _compared(sign: str, left: Range, right: Range) -> Answers:
    found: set[bool | None] = {None} if left.missing or right.missing else set()
    if left.low > left.high or right.low > right.high:
        return frozenset(found)
    if sign in (">", ">="):
        left, right = _turned(left), _turned(right)
    give = SLACK if sign in ("<=", ">=") else -SLACK
    low, high = (one + abs(one) * give if math.isfinite(one) else one for one in right[:2])
    holds = left.low <= high if "=" in sign else left.low < high
    fails = left.high > low if "=" in sign else left.high >= low
    found |= {answer for answer, can in ((True, holds), (False, fails)) if can}
    return frozenset(found)


def _turned(one: Range) -> Range:
    return Range(-one.high, -one.low, one.missing)
