"""Mutants of a rule: what it would be with one thing in it written wrongly."""

import ast
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal

from qa_engine.conditions import (
    Condition,
    ConditionError,
    Limit,
    guarded_condition,
    parse_condition,
)
from qa_engine.facts.fact import Fact
from qa_engine.proof.forms import form_of, rewritten, slips
from qa_engine.proof.limit_slips import Quantity, quantities
from qa_engine.rulesets import Rule
from qa_engine.yaml_tree import Document, Path, Problem

Key = Literal["applies_if", "requires"]


@dataclass(frozen=True)
class Place:
    """Where something stands in a document: at a path, or so many characters into its text."""

    path: Path
    offset: int | None = None
    width: int = 1

    def problem(self, document: Document, message: str, help: str = "") -> Problem:
        """Return a problem at this place."""
        if self.offset is None:
            return document.problem(self.path, message, help)
        return document.problem_in(self.path, self.offset, message, help, width=self.width)


@dataclass(frozen=True)
class Mutant:
    """A rule with one thing written wrongly.

    Attributes:
        what: the two wordings.
        rule: the rule as it would be.
        place: where the thing stands.
    """

    what: str
    rule: Rule
    place: Place


@dataclass(frozen=True)
class Original:
    """A rule as it stands, with what it takes to word it otherwise.

    Attributes:
        rule: the rule.
        facts: the facts of its subject, by name.
        document: the file it stands in.
    """

    rule: Rule
    facts: Mapping[str, Fact]
    document: Document

    @cached_property
    def forms(self) -> dict[Key, ast.expr]:
        """Return the forms of its conditions."""
        return {key: form_of(condition.text) for key, condition in self._conditions.items()}

    @cached_property
    def quantities(self) -> tuple[Quantity, ...]:
        """Return the quantities of its limits."""
        return tuple(quantities(self.rule, self.document))

    @property
    def _conditions(self) -> dict[Key, Condition]:
        applies = self.rule.applies_if
        return {"applies_if": applies, "requires": self.rule.requires} if applies else self._only

    @property
    def _only(self) -> dict[Key, Condition]:
        return {"requires": self.rule.requires}

    def text(self, key: Key) -> str:
        """Return one of its conditions as written, on one line."""
        return self._conditions[key].text.replace("\n", " ")

    def place(self, key: Key, part: ast.expr) -> Place:
        """Return where a part of a condition stands."""
        width = (part.end_col_offset or part.col_offset) - part.col_offset
        return Place((*self.rule.path, key), part.col_offset, width)

    def source(self, key: Key, part: ast.expr) -> str:
        """Return how a part of a condition is written."""
        return " ".join(self.text(key)[part.col_offset : part.end_col_offset].split())

    def sides(self, key: Key, clause: ast.expr) -> tuple[str, str]:
        """Return how the two sides of a comparison are written."""
        if not isinstance(clause, ast.Compare):
            return self.source(key, clause), ""
        return self.source(key, clause.left), self.source(key, clause.comparators[0])

    def parsed(self, text: str, limits: Mapping[str, Limit] | None = None) -> Condition | None:
        """Return a condition about its subject, None if it makes no sense."""
        try:
            return parse_condition(text, self.facts, limits or self.rule.limits)
        except ConditionError:
            return None

    def worded(
        self, key: Key, text: str, limits: Mapping[str, Limit] | None = None
    ) -> Condition | None:
        """Return a condition decided as the rule decides, None if it makes no sense.

        One in which nothing is left that could be guarded is taken as it reads.
        """
        condition, confidence = self.parsed(text, limits), self.rule.decision.confidence
        if condition is None or confidence is None or key != "requires":
            return condition
        try:
            return guarded_condition(condition, self.facts, confidence)
        except ConditionError:
            return condition

    def with_text(self, key: Key, text: str) -> Rule | None:
        """Return the rule with one condition worded otherwise, None if that makes no sense."""
        condition = self.worded(key, text)
        if condition is None:
            return None
        if key == "requires":
            return replace(self.rule, requires=condition)
        return replace(self.rule, applies_if=condition)

    def with_limit(self, limit: Limit) -> Rule | None:
        """Return the rule with one limit put otherwise, None if that makes no sense."""
        limits = {**self.rule.limits, limit.name: limit}
        changed = {
            key: self.worded(key, one.text, limits) if limit.name in one.limit_names else one
            for key, one in self._conditions.items()
        }
        requires = changed["requires"]
        if requires is None or None in changed.values():
            return None
        applies = changed.get("applies_if")
        return replace(self.rule, limits=limits, applies_if=applies, requires=requires)


def mutants(original: Original) -> Iterator[Mutant]:
    """Yield every mutant of a rule that still makes sense, each once."""
    yield from _of_applying(original)
    yield from _of_decision(original)
    for key in original.forms:
        yield from _of_condition(original, key)
    yield from _of_limits(original)


def _of_applying(original: Original) -> Iterator[Mutant]:
    if original.rule.applies_if:
        place = Place((*original.rule.path, "applies_if"))
        what = "the rule without its 'applies_if'"
        yield Mutant(what, replace(original.rule, applies_if=None), place)


def _of_decision(original: Original) -> Iterator[Mutant]:
    simple = original.parsed(original.text("requires"))
    if original.rule.decision.confidence is not None and simple is not None:
        place = Place((*original.rule.path, "decision", "acceptance"))
        yield Mutant(
            "'simple' in place of 'guarded'", replace(original.rule, requires=simple), place
        )


def _of_condition(original: Original, key: Key) -> Iterator[Mutant]:
    form = original.forms[key]
    seen = {ast.unparse(form)}
    for part, other in slips(form, original.facts, original.text(key)):
        text = rewritten(form, part, other)
        if text in seen:
            continue
        seen.add(text)
        rule = original.with_text(key, text)
        if rule is not None:
            what = f"'{_plain(other)}' in place of '{original.source(key, part)}'"
            yield Mutant(what, rule, original.place(key, part))


def _of_limits(original: Original) -> Iterator[Mutant]:
    for quantity in original.quantities:
        name = quantity.limit.name + (f" for {quantity.word}" if quantity.word else "")
        for written, limit in (*quantity.moved(), *quantity.in_other_units()):
            rule = original.with_limit(limit)
            if rule is not None:
                what = f"'{written}' in place of '{quantity.written}' for the limit {name}"
                yield Mutant(what, rule, Place(quantity.path))


def _plain(part: ast.expr) -> str:
    return ast.unparse(part).replace("'", '"')
