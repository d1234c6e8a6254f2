"""Judges the examples of rules: each must be given the outcome it is listed under."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from qa_engine.conditions import read_quantity
from qa_engine.conformity import UNDECIDED
from qa_engine.errors import UnitError, nearest
from qa_engine.facts.catalogue import Catalogue
from qa_engine.facts.fact import Fact
from qa_engine.fields import NO, YES
from qa_engine.rulesets.edition import Edition
from qa_engine.rulesets.rule import LISTED_UNDER, Example, Rule
from qa_engine.units import between, unit
from qa_engine.yaml_tree import Document, Problem, first_of

_ALWAYS_WANTED = ("conforms", "does_not_conform")


def check_examples(editions: Iterable[Edition], catalogue: Catalogue) -> tuple[Problem, ...]:
    """Return what is wrong with the examples of all rules: values, outcomes, and what is lacking.

    An example must name facts that its rule judges by, in values that they can have, and be given
    the outcome it is listed under. Each rule must have an example that conforms, one that does
    not and, where evidence can be missing and then leaves it open, one that is undecided.
    """
    found: list[Problem] = []
    for edition in editions:
        checks = (
            _RuleCheck(edition.document, rule, catalogue.facts_of(rule.subject))
            for rule in edition.rules
        )
        found += first_of(problem for check in checks for problem in check.problems())
    return tuple(found)


@dataclass(frozen=True)
class _RuleCheck:
    document: Document
    rule: Rule
    facts: Mapping[str, Fact]

    def problems(self) -> Iterator[Problem]:
        subjects = []
        for example in self.rule.examples:
            wrong = list(self._wrong_values(example))
            yield from wrong
            if not wrong:
                subject = subject_of(example, self.facts)
                subjects.append(subject)
                yield from self._wrong_outcome(example, subject)
        yield from self._lacking(subjects)

    def _wrong_values(self, example: Example) -> Iterator[Problem]:
        for name, written in example.stated.items():
            path = (*example.path, name)
            if name not in self.facts:
                what = f"'{name}' is not a fact of a {self.rule.subject.replace('_', ' ')}"
                hint = nearest(name, self.rule.needs) or nearest(name, self.facts)
                yield self.document.problem(path, what, hint, key=True)
            elif name not in self.rule.needs:
                what = f"the rule never reads '{name}'"
                help = "it reads: " + ", ".join(self.rule.needs)
                yield self.document.problem(path, what, help, key=True)
            elif written is not None and (wrong := wrong_value(self.facts[name], written)):
                yield self.document.problem(path, f"'{name}': {wrong[0]}", wrong[1])

    def _wrong_outcome(self, example: Example, subject: Mapping[str, object]) -> Iterator[Problem]:
        outcome = self.rule.outcome_of_one(subject)
        if outcome == LISTED_UNDER[example.listed_under]:
            return
        given = next(name for name, code in LISTED_UNDER.items() if code == outcome)
        what = f"this example of '{self.rule.rule}' is listed under {example.listed_under}"
        what += f", but its outcome is {given}"
        missing = [name for name in self.rule.needs if subject.get(name) is None]
        help = f"what it does not state is missing: {', '.join(missing)}" if missing else ""
        yield self.document.problem(example.path, what, help)

    def _lacking(self, subjects: list[dict[str, object]]) -> Iterator[Problem]:
        present = {example.listed_under for example in self.rule.examples}
        path = (*self.rule.path, "examples")
        for wanted in _ALWAYS_WANTED:
            if wanted not in present:
                what = f"'{self.rule.rule}' has no example under {wanted}"
                yield self.document.problem(path, what, "add one close to the limit", key=True)
        if "undecided" not in present and (name := self._can_be_missing(subjects)):
            what = f"'{self.rule.rule}' has no example under undecided"
            yield self.document.problem(path, what, f"add one without '{name}'", key=True)

    def _can_be_missing(self, subjects: list[dict[str, object]]) -> str | None:
        """Return a fact whose absence leaves one of the subjects undecided, None if none does."""
        for subject in subjects:
            for name in subject:
                rest = {other: value for other, value in subject.items() if other != name}
                unknown = self.facts[name].absent == "unknown"
                if unknown and self.rule.outcome_of_one(rest) == UNDECIDED:
                    return name
        return None


def subject_of(example: Example, facts: Mapping[str, Fact]) -> dict[str, object]:
    """Return an example as facts in their own units; its values must have been checked."""
    stated = ((name, written) for name, written in example.stated.items() if written is not None)
    return {name: _value(facts[name], written) for name, written in stated}


def _value(fact: Fact, written: str) -> object:
    match fact.type:
        case "number":
            number, of = read_quantity(written, fact.unit or "1")
            return between(of, unit(fact.unit or "1")).apply(number)
        case "yes/no":
            return written.casefold() in YES
        case "records":
            return [written]
    return written


def wrong_value(fact: Fact, written: str) -> tuple[str, str] | None:
    """Return what is wrong with a value and what would do, None if the fact can have it."""
    if fact.type == "yes/no" and written.casefold() not in (*YES, *NO):
        return f"'{written}' is neither yes nor no", "write yes or no"
    if fact.type == "words" and fact.words and written not in fact.words:
        listed = "it is one of: " + ", ".join(fact.words)
        return f"'{written}' is not known", f"{nearest(written, fact.words)} {listed}".strip()
    if fact.type != "number":
        return None
    try:
        number = _value(fact, written)
    except UnitError as error:
        return str(error), f"expected a number in {fact.unit or '1'}, or one with its unit"
    if isinstance(number, float) and not fact.low <= number <= fact.high:
        of = fact.unit or ""
        return f"'{written}' is out of range", f"from {fact.low:g} to {fact.high:g} {of}".strip()
    return None
