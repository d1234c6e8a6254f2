"""What outcome each value of one fact would bring, everything else staying as it is known.

Found by asking the rule itself for many values and closing in on every change of outcome, so that
whatever is said here is what the rule does.
"""

import ast
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from itertools import groupby, pairwise

from qa_engine.conditions import Guard
from qa_engine.conditions.grammar import Fault, read_form
from qa_engine.conditions.numbers import Converted, Measured, Number
from qa_engine.conditions.verdicts import All, Compared, Either, Not, Verdict
from qa_engine.explanation.amounts import amount
from qa_engine.explanation.tree import Known
from qa_engine.facts.fact import Fact
from qa_engine.rulesets import Rule

STEPS = tuple(
    sign * m / 10 * 10.0**k for sign in (-1, 1) for k in range(-3, 7) for m in range(10, 100, 5)
)
"""Values that are tried for any number, beside those that it is held against."""

HALVINGS = 100
DIGITS = 9
"""Digits of a threshold that are tried as its exact value."""

Outcome = Callable[[object], int]


@dataclass(frozen=True)
class Case:
    """Values of a fact that all bring the same outcome: ``values`` in words, and the outcome."""

    values: str
    outcome: int


def cases_of(rule: Rule, known: Known, fact: Fact) -> list[Case]:
    """Return the outcomes that values of a fact would bring, in the order of the values.

    Args:
        rule: the rule.
        known: what is known of the subject; the fact itself may be among it.
        fact: the fact to try values of.
    """

    def outcome(value: object) -> int:
        return rule.outcome_of_one({**known, fact.name: value})

    match fact.type:
        case "yes/no":
            return [Case("yes", outcome(True)), Case("no", outcome(False))]
        case "words":
            return _of_words(rule, fact, outcome)
        case "number":
            return _of_numbers(rule, known, fact, outcome)
    return []


def _of_words(rule: Rule, fact: Fact, outcome: Outcome) -> list[Case]:
    named = [word for word in _words(rule, fact.name) if not fact.words or word in fact.words]
    cases = [(word, outcome(word)) for word in named]
    others = [word for word in fact.words if word not in named]
    if others or not fact.words:
        cases.append(
            ("any other word" if named else "any word", outcome(others[0] if others else "?"))
        )
    grouped = groupby(sorted(cases, key=lambda case: -case[1]), key=lambda case: case[1])
    return [Case(" or ".join(word for word, _ in group), code) for code, group in grouped]


def _words(rule: Rule, name: str) -> list[str]:
    """Return the words that a rule names and a fact could read."""
    limits = (limit for limit in rule.limits.values() if limit.by == name)
    chosen = [word for limit in limits if isinstance(limit.values, dict) for word in limit.values]
    quoted = [value for value in _constants(rule) if isinstance(value, str)]
    return list(dict.fromkeys((*chosen, *quoted)))


def _constants(rule: Rule) -> Iterator[object]:
    for condition in rule.conditions:
        form = read_form(condition.text)
        if not isinstance(form, Fault):
            yield from (n.value for n in ast.walk(form) if isinstance(n, ast.Constant))


def _of_numbers(rule: Rule, known: Known, fact: Fact, outcome: Outcome) -> list[Case]:
    tried = _tried(rule, known, fact)
    bounds = [
        (_threshold(low, high, outcome), outcome(low), outcome(high))
        for low, high in pairwise(tried)
        if outcome(low) != outcome(high)
    ]
    if not bounds:
        return [Case("any value", outcome(tried[0]))]
    shown = [_shown(at, fact.unit) for at, _, _ in bounds]
    below = [outcome(at) == before for at, before, _ in bounds]
    cases = [Case(f"{'up to' if below[0] else 'below'} {shown[0]}", bounds[0][1])]
    for place, (_, _, after) in enumerate(bounds):
        values = f"above {shown[place]}" if below[place] else f"from {shown[place]} on"
        if place + 1 < len(bounds):
            end = "up to" if below[place + 1] else "but below"
            values = f"{values.removesuffix(' on')} {end} {shown[place + 1]}"
        cases.append(Case(values, after))
    return cases


def _tried(rule: Rule, known: Known, fact: Fact) -> list[float]:
    """Return values worth trying, ascending, within what the fact can be."""
    against = [n for one in rule.conditions for n in _held_against(one.verdict, known, fact)]
    around = [n * (1 + step) for n in against for step in (0.0, 1e-6, -1e-6)]
    ends = [end for end in (fact.low, fact.high) if abs(end) != float("inf")]
    within = (n for n in (*around, *STEPS, 0.0, *ends) if fact.low <= n <= fact.high)
    return sorted(set(within))


def _held_against(verdict: Verdict, known: Known, fact: Fact) -> Iterator[float]:
    """Yield the numbers that a fact by itself is compared with, in the fact's unit."""
    match verdict:
        case Compared(left=left, right=right):
            for mine, other in ((left, right), (right, left)):
                number = other.of_one(known)
                if number is not None and (scale := _scale(mine, fact.name)):
                    yield (number - scale[1]) / scale[0]
        case Not(inner):
            yield from _held_against(inner, known, fact)
        case All(parts) | Either(parts):
            for part in parts:
                yield from _held_against(part, known, fact)
        case Guard(sides=sides):
            for side in sides:
                yield from _held_against(side, known, fact)


def _scale(number: Number, name: str) -> tuple[float, float] | None:
    """Return factor and shift from a fact's own unit, None if this is not the fact by itself."""
    match number:
        case Measured(name=found) if found == name:
            return 1.0, 0.0
        case Converted(inner=Measured(name=found), factor=factor, shift=shift) if found == name:
            return factor, shift
    return None


def _threshold(low: float, high: float, outcome: Outcome) -> float:
    """Return where the outcome changes between two values, as the rule would write it."""
    before = outcome(low)
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        if not low < middle < high:
            break
        low, high = (middle, high) if outcome(middle) == before else (low, middle)
    return _shortest(low, high)


def _shown(threshold: float, unit: str | None) -> str:
    """Return a threshold in words; one of many digits is only told nearly."""
    if float(f"{threshold:.{DIGITS}g}") == threshold:
        return amount(threshold, unit, DIGITS)
    return f"about {amount(threshold, unit)}"


def _shortest(low: float, high: float) -> float:
    """Return the number of few digits that a threshold is; limits have a slack of 1e-9."""
    if low <= 0.0 <= high:
        return 0.0
    for digits in range(1, DIGITS + 1):
        rounded = float(f"{high:.{digits}g}")
        if abs(rounded - high) <= 2e-9 * abs(high):
            return rounded
    return high


def with_outcome(cases: Iterable[Case], *outcomes: int) -> list[Case]:
    """Return the cases with one of some outcomes."""
    return [case for case in cases if case.outcome in outcomes]
