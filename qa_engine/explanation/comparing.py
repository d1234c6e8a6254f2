"""A single comparison of one subject: what was held against what, and how to say it."""

from dataclasses import dataclass, replace

import polars as pl

from qa_engine.conditions import SLACK, Guard, guards_in
from qa_engine.conditions.numbers import Number, Subject
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
from qa_engine.explanation.amounts import amount, amounts
from qa_engine.units import unit_names
from qa_engine.wording import NOT_RECORDED

_TOLD = {"<": "below", "<=": "at most", ">": "above", ">=": "at least", "==": "equal to"}
_WITHIN_SLACK = f" (the same within a relative {SLACK:g}, so it counts as met exactly)"


@dataclass(frozen=True)
class Amount:
    """A number on one side of a comparison, None if it is missing, and its unit."""

    number: float | None
    unit: str | None


@dataclass(frozen=True)
class Comparison:
    """What was held against what.

    Attributes:
        says: it in words, with the values.
        sign: how two numbers were compared; empty for words and yes-or-no facts.
        left, right: the numbers, in one unit; None for words and yes-or-no facts.
    """

    says: str
    sign: str = ""
    left: Amount | None = None
    right: Amount | None = None


def comparison_of(verdict: Verdict, known: Subject) -> Comparison | None:
    """Return what a single comparison came to; None for one that cannot be put into words."""
    match verdict:
        case Compared(sign, left, right):
            return _numbers(sign, left, right, known, verdict.of_one(known))
        case All((Compared("<=", left, right), Compared(">="))):
            return _numbers("==", left, right, known, verdict.of_one(known))
        case Not(inner):
            return comparison_of(inner, known)
        case SameWord(name, other, other_fact):
            return _words(name, other, other_fact, known)
        case Either(parts) if parts:
            return comparison_of(_first_that_holds(parts, known), known)
        case Stated(name):
            answer = {True: "yes", False: "no", None: NOT_RECORDED}[verdict.of_one(known)]
            return Comparison(f"{name} is {answer}")
        case Recorded(name):
            return Comparison(f"{name} is {'' if verdict.of_one(known) else 'not '}recorded")
        case Guard():
            return _guarded(verdict, known)
        case All(parts) if guards_in(verdict):
            told = [one.says for part in parts if (one := comparison_of(part, known))]
            return Comparison("; ".join(told))
        case Open():
            return Comparison("it has a name that no plugin which works knows")
    return None


def _first_that_holds(parts: tuple[Verdict, ...], known: Subject) -> Verdict:
    return next((part for part in parts if part.of_one(known)), parts[0])


def _numbers(
    sign: str, left: Number, right: Number, known: Subject, holds: bool | None
) -> Comparison:
    names = [side.unit.name for side in (left, right) if side.unit]
    unit = next((name for name in names if name in unit_names()), names[0] if names else None)
    one, other = left.of_one(known), right.of_one(known)
    sides = Amount(one, unit), Amount(other, unit)
    if one is None or other is None:
        shown, beside = map(_or_not_recorded, sides)
        return Comparison(f"{shown}, to be {_TOLD[sign]} {beside}", sign, *sides)
    told = _TOLD[sign] if holds else f"not {_TOLD[sign]}"
    shown, beside = amounts(one, other, unit)
    close = one != other and abs(one - other) <= abs(other) * SLACK
    says = f"{shown} is {told} {beside}{_WITHIN_SLACK if close else ''}"
    return Comparison(says, sign, *sides)


def _or_not_recorded(side: Amount) -> str:
    return NOT_RECORDED if side.number is None else amount(side.number, side.unit)


def _guarded(guard: Guard, known: Subject) -> Comparison:
    """Return a comparison that allows for uncertainty, with how probable conformity is."""
    plain = [_of_side(side, known) for side in guard.sides]
    spread = guard.spread.of_one(known)
    if spread is None:
        names = ", ".join(guard.measured)
        return replace(plain[0], says=f"{plain[0].says}; the uncertainty of {names} is not known")
    sides = [side for one in plain for side in (one.left, one.right) if side]
    if any(side.number is None for side in sides):
        return plain[0]
    unit = sides[0].unit
    says = f"{'; '.join(one.says for one in plain)}; standard uncertainty {amount(spread, unit, 3)}"
    likely = _probability(guard, known)
    if likely is not None:
        asked = amount(guard.confidence * 100, "%")
        says += f", so it conforms with a probability of {amount(likely * 100, '%', 3)}"
        says += f", and {asked} decides"
    return replace(plain[0], says=says)


def _of_side(side: Compared, known: Subject) -> Comparison:
    return _numbers(side.sign, side.left, side.right, known, side.of_one(known))


def _probability(guard: Guard, known: Subject) -> float | None:
    numbers = {
        name: [value] for name, value in known.items() if isinstance(value, int | float | str)
    }
    answer = pl.DataFrame(numbers).select(likely=guard.probability())["likely"].item()
    return answer if isinstance(answer, float) else None


def _words(name: str, other: str, other_fact: bool, known: Subject) -> Comparison:
    says = f"{name} is {known.get(name) or NOT_RECORDED}"
    beside = f" and {other} is {known.get(other) or NOT_RECORDED}" if other_fact else ""
    return Comparison(says + beside)
