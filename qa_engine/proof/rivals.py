"""Rivals: rules in force together of which one repeats the other, or no subject can suit both."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import combinations, product

from qa_engine.conditions import Condition
from qa_engine.conformity import CONFORMS, DOES_NOT_CONFORM
from qa_engine.facts.catalogue import Catalogue
from qa_engine.facts.fact import Fact
from qa_engine.proof.cells import never
from qa_engine.proof.mutants import Place
from qa_engine.proof.scoring import sound_examples
from qa_engine.proof.trial import Trial
from qa_engine.proof.written import example_line
from qa_engine.rulesets import Edition, Rule
from qa_engine.yaml_tree import Problem


@dataclass(frozen=True)
class _Standing:
    """A rule with the edition it stands in and its examples as subjects."""

    rule: Rule
    edition: Edition
    facts: Mapping[str, Fact]
    examples: Sequence[dict[str, object]]

    def giving(self, outcome: int) -> list[dict[str, object]]:
        """Return the examples that are given an outcome."""
        return [one for one in self.examples if self.rule.outcome_of_one(one) == outcome]

    def __str__(self) -> str:
        return f"{self.edition.rule_set}/{self.rule.rule}"


def rivals(editions: Sequence[Edition], catalogue: Catalogue) -> Iterator[Problem]:
    """Yield a problem for every two rules in force together that repeat or contradict each other.

    Rules contradict each other if each can be met and no subject at all can meet both. They repeat
    each other if every subject that was tried has the same outcome under both.
    """
    by_subject: dict[str, list[_Standing]] = defaultdict(list)
    for edition in editions:
        for rule in edition.rules:
            facts = catalogue.facts_of(rule.subject)
            standing = _Standing(rule, edition, facts, sound_examples(rule, facts))
            by_subject[rule.subject].append(standing)
    for standings in by_subject.values():
        for one, other in combinations(standings, 2):
            days = _together(one.edition, other.edition)
            if days:
                yield from _between(one, other, days)


def _together(one: Edition, other: Edition) -> tuple[date, date] | None:
    """Return the first and the last day on which both editions are in force."""
    first = max(one.in_force_from, other.in_force_from)
    last = min(one.in_force_until or date.max, other.in_force_until or date.max)
    return (first, last) if first <= last else None


def _between(one: _Standing, other: _Standing, days: tuple[date, date]) -> Iterator[Problem]:
    if not _about_the_same(one.rule.requires, other.rule.requires):
        return
    may_repeat = _may_repeat(one, other)
    may_clash = not may_repeat and _may_clash(one, other)
    if not (may_repeat or may_clash):
        return
    trial = Trial([one.rule, other.rule], one.facts, [*one.examples, *other.examples])
    outcomes = [trial.outcomes(standing.rule) for standing in (one, other)]
    if (outcomes[0] == outcomes[1]).all():
        at = next(iter((outcomes[0] == DOES_NOT_CONFORM).nonzero()[0]), 0)
        what = f"'{other.rule.rule}' repeats '{one}': both say the same of every subject"
        help = "leave one of them out; this one, say, does not conform to either:"
        yield _problem(other, days, what, help, trial.subjects[at])
    elif may_clash and not _both_can_conform(trial, one.rule, other.rule):
        both_apply = (outcomes[0] == CONFORMS) & (outcomes[1] == DOES_NOT_CONFORM)
        for at in both_apply.nonzero()[0][:1]:
            what = f"'{other.rule.rule}' contradicts '{one}': nothing can conform to both"
            help = f"this one conforms to '{one.rule.rule}' and so cannot conform to this rule:"
            yield _problem(other, days, what, help, trial.subjects[at])


def _about_the_same(one: Condition, other: Condition) -> bool:
    """Tell whether two requirements use a fact in one way: its value, or that it is recorded.

    One that says how low a fact must be and one that it should not be recorded ask for different
    things; with the fact missing the first is open and the second holds.
    """
    shared = set(one.names) & set(other.names)
    return any((name in one.weighed) == (name in other.weighed) for name in shared)


def _may_repeat(one: _Standing, other: _Standing) -> bool:
    """Tell whether two rules name the same facts and agree on all their examples."""
    if set(one.rule.needs) != set(other.rule.needs) or one.rule.within != other.rule.within:
        return False
    examples = (*one.examples, *other.examples)
    return all(one.rule.outcome_of_one(e) == other.rule.outcome_of_one(e) for e in examples)


def _may_clash(one: _Standing, other: _Standing) -> bool:
    """Tell whether no example of either, filled up from one of the other, conforms to both."""
    pairs = list(product(one.giving(CONFORMS), other.giving(CONFORMS)))
    joined = [{**second, **first} for first, second in pairs]
    joined += [{**first, **second} for first, second in pairs]
    return bool(pairs) and not any(
        one.rule.outcome_of_one(e) == other.rule.outcome_of_one(e) == CONFORMS for e in joined
    )


def _both_can_conform(trial: Trial, one: Rule, other: Rule) -> bool:
    conform = (trial.outcomes(one) == CONFORMS) & (trial.outcomes(other) == CONFORMS)
    if conform.any():
        return True
    return not never(
        trial, [one, other], lambda outcomes: all(CONFORMS in each for each in outcomes)
    )


def _problem(
    standing: _Standing,
    days: tuple[date, date],
    what: str,
    help: str,
    witness: Mapping[str, object],
) -> Problem:
    first, last = days
    until = "on" if last == date.max else f"to {last}"
    line = example_line(witness, standing.facts, standing.rule)
    place = Place((*standing.rule.path, "requires"))
    message = f"{what}, from {first} {until}"
    return place.problem(standing.edition.document, message, f"{help}\n        {line}")
