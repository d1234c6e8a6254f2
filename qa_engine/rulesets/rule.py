"""A rule: what it judges, what must hold, how to say that it does not and what to do then."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import timedelta
from functools import cached_property
from typing import Literal

from qa_engine.conditions import Condition, Limit
from qa_engine.conformity import (
    CONFORMS,
    DOES_NOT_CONFORM,
    NOT_APPLICABLE,
    UNDECIDED,
    outcome_of_one,
)
from qa_engine.rulesets.decision import SIMPLE, Decision
from qa_engine.rulesets.wording import placeholders
from qa_engine.yaml_tree import Path

LISTED_UNDER = {
    "conforms": CONFORMS,
    "does_not_conform": DOES_NOT_CONFORM,
    "undecided": UNDECIDED,
    "not_applicable": NOT_APPLICABLE,
}
"""The outcomes that examples may be listed under."""


@dataclass(frozen=True)
class Example:
    """A subject made up by the writer of a rule, with the outcome it must be given.

    Attributes:
        listed_under: conforms, does_not_conform, undecided or not_applicable.
        stated: facts by name as written; None is missing, and so is what is not named.
        path: where it stands in the document of its edition.
    """

    listed_under: str
    stated: Mapping[str, str | None]
    path: Path


@dataclass(frozen=True)
class Rule:
    """One rule of one edition.

    Attributes:
        rule_set, edition, rule: its name, unique in all of an inspection.
        title: what it asks for, in a few words.
        subject: the kind of subject it judges.
        applies_if: what it is confined to; None if it applies to every subject.
        requires: what must hold.
        limits: what its conditions measure against, by name.
        within: how long after an event the requirement may still be fulfilled.
        grading: major, minor or advice, as the operator proposes.
        says: the message of a finding, with placeholders in braces.
        correction: what to do.
        basis: what the requirement rests on, beyond what its limits say of themselves.
        caution: what to mind while doing it.
        permission: whether exceptions may be permitted.
        affects: the kind of record that a failure puts in doubt.
        settled_by: the kind of record that the work logs which a failure calls for.
        settled_where: what such a record must state to settle a failure; None if any will do.
        stands_until: what ends a failure: that a later subject conforms, or only that the work
            was done, for what a later good value does not undo.
        examples: made-up subjects with their outcomes.
        known: the facts that its subject can have, of those it names.
        source, line, path: where it stands.
        decision: whether ``requires`` allows for uncertainty of measurement.
    """

    rule_set: str
    edition: str
    rule: str
    title: str
    subject: str
    applies_if: Condition | None
    requires: Condition
    limits: Mapping[str, Limit]
    within: timedelta | None
    grading: Literal["major", "minor", "advice"]
    says: str
    correction: str
    basis: str | None
    caution: str | None
    permission: Literal["by request", "never"]
    affects: str | None
    settled_by: str | None
    settled_where: Condition | None
    stands_until: Literal["conforming verdict", "settling record"]
    examples: tuple[Example, ...]
    known: frozenset[str]
    source: str
    line: int
    path: Path = field(repr=False)
    decision: Decision = SIMPLE

    @cached_property
    def conditions(self) -> tuple[Condition, ...]:
        """Return its conditions, ``applies_if`` first."""
        return (self.applies_if, self.requires) if self.applies_if else (self.requires,)

    @cached_property
    def needs(self) -> tuple[str, ...]:
        """Return the facts that it judges by, unknown ones included, in order of appearance."""
        named = [name for condition in self.conditions for name in condition.names]
        return tuple(dict.fromkeys((*named, *self._choosing)))

    @cached_property
    def _choosing(self) -> tuple[str, ...]:
        return tuple(limit.by for limit in self.limits.values() if limit.by)

    @cached_property
    def weighed(self) -> frozenset[str]:
        """Return the needed facts whose value counts, not only whether they are recorded."""
        return frozenset().union(*(one.weighed for one in self.conditions), self._choosing)

    @cached_property
    def excused(self) -> frozenset[str]:
        """Return the needed facts that it only asks to be recorded; missing, they decide it."""
        return frozenset(self.needs) - self.weighed

    @cached_property
    def told(self) -> tuple[str, ...]:
        """Return the facts that only its message names."""
        named = (name for name in placeholders(self.says) if name in self.known)
        return tuple(name for name in named if name not in self.needs)

    @cached_property
    def unknown(self) -> tuple[str, ...]:
        """Return the names that nobody knows; what they stand in is undecided."""
        return tuple(name for name in self.needs if name not in self.known)

    def outcome_of_one(self, subject: Mapping[str, object]) -> int:
        """Return the outcome for one subject, given as facts in their own units."""
        applies = self.applies_if.of_one(subject) if self.applies_if else True
        return outcome_of_one(applies, self.requires.of_one(subject))
