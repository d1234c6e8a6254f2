"""What the examples of a rule are asked to do: notice each mutant, show each case."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

from qa_engine.conditions import Condition
from qa_engine.conditions.numbers import Subject
from qa_engine.conditions.verdicts import SLACK, Compared
from qa_engine.proof.boundaries import comparisons, margin
from qa_engine.proof.forms import clauses, rewritten
from qa_engine.proof.mutants import Key, Original, Place, mutants
from qa_engine.rulesets import Rule

Test = Callable[[Subject], bool]


@dataclass(frozen=True)
class Demand:
    """Something that one example at least must do.

    Attributes:
        kind: notice a mutant, or show a case.
        what: the mutant, or the case.
        place: what in the rule it is about.
        turned: a rule of which the example must make something else.
        test: what else must be so of the example.
    """

    kind: Literal["mutant", "case"]
    what: str
    place: Place
    turned: Rule | None
    test: Test | None = None

    def is_met_by(self, subject: Subject, outcome: int) -> bool:
        """Tell whether a subject with this outcome under the rule does what is asked."""
        if self.turned and self.turned.outcome_of_one(subject) == outcome:
            return False
        return self.test is None or self.test(subject)


def demands(original: Original, values: Callable[[str], list[object]]) -> Iterator[Demand]:
    """Yield all that is asked of the examples of a rule.

    Args:
        original: the rule.
        values: gives what a fact can be tried with.
    """
    for mutant in mutants(original):
        yield Demand("mutant", mutant.what, mutant.place, mutant.rule)
    for key in original.forms:
        yield from _of_clauses(original, key)
    yield from _of_missing(original, values)


def _of_clauses(original: Original, key: Key) -> Iterator[Demand]:
    form = original.forms[key]
    for clause, (part, other) in clauses(form, original.facts):
        alone = original.parsed(original.source(key, clause))
        turned = original.with_text(key, rewritten(form, part, other))
        if alone is None or turned is None:
            continue
        source, place = original.source(key, clause), original.place(key, clause)
        for test, what in _answers(alone, source):
            yield Demand("case", what, place, turned, test)
        for compared in list(comparisons(alone.verdict))[:1]:
            sides = original.sides(key, clause)
            for test, what in _distances(original, alone, compared, sides):
                yield Demand("case", what, place, turned, test)


def _answers(alone: Condition, source: str) -> Iterator[tuple[Test, str]]:
    """Yield a clause alone deciding: by holding, and by failing."""
    yield lambda subject: alone.of_one(subject) is True, f"'{source}' deciding alone, by holding"
    yield lambda subject: alone.of_one(subject) is False, f"'{source}' deciding alone, by failing"


def _distances(
    original: Original, alone: Condition, compared: Compared, sides: tuple[str, str]
) -> Iterator[tuple[Test, str]]:
    """Yield a comparison met exactly and, where it has a limit, one step of it either side."""
    steps = list(_moved(original, alone))

    def distance(subject: Subject) -> tuple[float, float]:
        """Return by how much the sides differ, and how much a step of the limits would make."""
        apart = margin(compared, subject)
        if apart is None:
            return float("inf"), 0.0
        right = compared.right.of_one(subject) or 0.0
        others = [margin(one, subject) for one in steps]
        step = max((abs(one - apart) for one in others if one is not None), default=0.0)
        return (0.0 if abs(apart) <= SLACK * abs(right) else apart), step * (1 + SLACK)

    left, right = sides
    yield lambda subject: distance(subject)[0] == 0, f"'{left}' equal to '{right}'"
    if steps:
        for sign, side in ((-1, "below"), (1, "above")):
            what = f"'{left}' {side} '{right}' by one step of the limit or less"
            yield _within_a_step(distance, sign), what


def _within_a_step(distance: Callable[[Subject], tuple[float, float]], sign: int) -> Test:
    def test(subject: Subject) -> bool:
        apart, step = distance(subject)
        return 0 < apart * sign <= step

    return test


def _moved(original: Original, alone: Condition) -> Iterator[Compared]:
    """Yield the comparison with each of its limits one step higher."""
    for quantity in original.quantities:
        if quantity.limit.name in alone.limit_names:
            for _, limit in list(quantity.moved())[-1:]:
                limits = {**original.rule.limits, limit.name: limit}
                changed = original.parsed(alone.text, limits)
                yield from list(comparisons(changed and changed.verdict))[:1]


def _of_missing(original: Original, values: Callable[[str], list[object]]) -> Iterator[Demand]:
    rule = original.rule
    place = Place((*rule.path, "examples"))
    for name in rule.needs:
        if original.facts[name].absent == "unknown":
            what = f"'{name}' missing where its value would decide"
            yield Demand("case", what, place, None, _lacks(rule, name, values))


def _lacks(rule: Rule, name: str, values: Callable[[str], list[object]]) -> Test:
    def test(subject: Mapping[str, object]) -> bool:
        if subject.get(name) is not None:
            return False
        outcome = rule.outcome_of_one(subject)
        return any(rule.outcome_of_one({**subject, name: one}) != outcome for one in values(name))

    return test
