"""Trials: made-up subjects that bring out what a rule does, asked all at once."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import cached_property
from itertools import islice, pairwise, product
from random import Random

import numpy as np
import polars as pl
from numpy.typing import NDArray

from qa_engine.conditions import is_uncertainty
from qa_engine.conditions.numbers import Subject
from qa_engine.conformity import outcome_expression
from qa_engine.facts.fact import COLUMN_TYPES, Fact
from qa_engine.proof.boundaries import boundary, compared_facts, comparisons, in_range, rounded
from qa_engine.proof.forms import OTHER_WORDS, form_of, quoted
from qa_engine.rulesets import Rule

MOST_SUBJECTS = 4096
"""Most subjects of a trial; as long as all combinations are fewer, each of them is tried."""

MOST_SETTINGS = 12
"""In how many settings of the other facts a boundary is looked for."""

USUAL = (1.0, 10.0, 100.0)
"""Numbers to try where a rule and its examples name none."""


class Trial:
    """Subjects on and near every boundary of some rules, each with every fact present or missing.

    Args:
        rules: what is tried; all of one kind of subject.
        facts: the facts of that kind, by name.
        examples: subjects to begin with, the likeliest ones.
        variants: rules like these with their limits moved; their boundaries count too.
    """

    def __init__(
        self,
        rules: Sequence[Rule],
        facts: Mapping[str, Fact],
        examples: Sequence[Subject] = (),
        variants: Iterable[Rule] = (),
    ) -> None:
        self.rules, self.facts = tuple(rules), facts
        self.names = tuple(dict.fromkeys(name for rule in rules for name in rule.needs))
        self.examples = list(examples)
        self.variants = tuple(variants)

    @cached_property
    def values(self) -> dict[str, list[object]]:
        """Return what each fact is tried with, the most telling first; None, missing, is last."""
        return {name: [*self._present(self.facts[name]), None] for name in self.names}

    @cached_property
    def subjects(self) -> list[dict[str, object]]:
        """Return the subjects, those nearest to the examples first."""
        found: dict[tuple[object, ...], None] = {}
        for row in self._rows():
            found.setdefault(row)
            if len(found) >= MOST_SUBJECTS:
                break
        return [dict(zip(self.names, map(_listed, row), strict=True)) for row in found]

    @cached_property
    def frame(self) -> pl.DataFrame:
        """Return the subjects as columns."""
        schema = {name: COLUMN_TYPES[self.facts[name].type] for name in self.names}
        return pl.DataFrame(self.subjects, schema=schema)

    @cached_property
    def usual_outcomes(self) -> NDArray[np.int8]:
        """Return what the first rule of the trial makes of each subject."""
        return self.outcomes(self.rules[0])

    def outcomes(self, rule: Rule) -> NDArray[np.int8]:
        """Return what a rule makes of each subject."""
        applies = rule.applies_if.expression() if rule.applies_if else None
        asked = outcome_expression(applies, rule.requires.expression())
        found = self.frame.with_columns(asked.alias("outcome of the rule"))
        return found["outcome of the rule"].to_numpy()

    def _rows(self) -> Iterator[tuple[object, ...]]:
        """Yield the values of subjects: examples with one fact changed, with two, then the rest."""
        seeds = [tuple(_kept(one.get(n)) for n in self.names) for one in self.examples]
        seeds.append(tuple(self.values[name][0] for name in self.names))
        for seed in seeds:
            yield from self._with_one_changed(seed)
        chance = Random(0)
        for _ in range(MOST_SUBJECTS // 4):
            yield self._with_two_changed(chance.choice(seeds), chance)
        choices = [self.values[name] for name in self.names]
        if np.prod([len(one) for one in choices], dtype=float) <= MOST_SUBJECTS:
            yield from product(*choices)
        for _ in range(MOST_SUBJECTS):
            yield tuple(map(chance.choice, choices))

    def _with_one_changed(self, seed: tuple[object, ...]) -> Iterator[tuple[object, ...]]:
        yield seed
        for at, name in enumerate(self.names):
            yield from ((*seed[:at], value, *seed[at + 1 :]) for value in self.values[name])

    def _with_two_changed(self, seed: tuple[object, ...], chance: Random) -> tuple[object, ...]:
        changed = chance.sample(range(len(seed)), min(2, len(seed)))
        new = {at: chance.choice(self.values[self.names[at]]) for at in changed}
        return tuple(new.get(at, old) for at, old in enumerate(seed))

    def _present(self, fact: Fact) -> list[object]:
        match fact.type:
            case "yes/no":
                return [True, False]
            case "number":
                return list(self._numbers(fact))
            case "records":
                return [("R-1",)]
        return list(self._words(fact))

    def _words(self, fact: Fact) -> list[str]:
        named: dict[str, None] = {}
        for rule in self.rules:
            for limit in rule.limits.values():
                if limit.by == fact.name and isinstance(limit.values, Mapping):
                    named.update(dict.fromkeys(limit.values))
            for condition in rule.conditions:
                named.update(quoted(form_of(condition.text)).get(fact.name, {}))
        named.update(dict.fromkeys(_texts(one.get(fact.name) for one in self.examples)))
        return list(dict.fromkeys((*named, *(fact.words or OTHER_WORDS))))

    def _numbers(self, fact: Fact) -> list[float]:
        if is_uncertainty(fact.name):  # never 0: something that is measured is never certain
            return list(USUAL)
        met = self.boundaries[fact.name]
        stated = [one.get(fact.name) for one in self.examples]
        known = in_range([*met, *(one for one in stated if isinstance(one, float))], fact)
        between = _between(sorted(known or in_range(USUAL, fact)), fact)
        return list(dict.fromkeys((*known, *in_range(between, fact)))) or in_range([fact.low], fact)

    @cached_property
    def boundaries(self) -> dict[str, list[float]]:
        """Return the numbers at which each fact meets what it is compared with."""
        found: dict[str, dict[float, None]] = {name: {} for name in self.names}
        for rule in (*self.rules, *self.variants):
            for condition in rule.conditions:
                for compared in comparisons(condition.verdict):
                    numbers, choosing = compared_facts(compared)
                    for name in numbers:
                        others = [one for one in (*numbers, *choosing) if one != name]
                        for setting in self._settings(others):
                            found[name].update(dict.fromkeys(boundary(compared, name, setting)))
        return {name: list(met) for name, met in found.items()}

    def _settings(self, names: Sequence[str]) -> Iterator[dict[str, object]]:
        """Yield settings of the other facts of a comparison: from the examples, then usual ones."""
        stated = [{name: one.get(name) for name in names} for one in self.examples]
        whole = [one for one in stated if None not in one.values()]
        usual = [self._usual(self.facts[name]) for name in names]
        made = (dict(zip(names, one, strict=True)) for one in product(*usual))
        seen: list[dict[str, object]] = []
        for setting in (*whole, *islice(made, MOST_SETTINGS)):
            if setting not in seen and len(seen) < MOST_SETTINGS:
                seen.append(setting)
                yield setting

    def _usual(self, fact: Fact) -> list[object]:
        if fact.type == "number":
            return list(in_range(USUAL, fact) or in_range([fact.low, fact.high], fact))
        return list(self._words(fact))


def _kept(value: object) -> object:
    """Return a value in a form that can be told from others quickly: lists as tuples."""
    return tuple(value) if isinstance(value, list) else value


def _listed(value: object) -> object:
    return list(value) if isinstance(value, tuple) else value


def _texts(found: Iterable[object]) -> Iterator[str]:
    return (one for one in found if isinstance(one, str))


def _between(known: list[float], fact: Fact) -> Iterator[float]:
    """Yield a number between each two neighbours, and one beyond either end."""
    for low, high in pairwise(known):
        yield rounded((low + high) / 2)
    for end, bound, away in ((known[:1], fact.low, -1.0), (known[-1:], fact.high, 1.0)):
        for number in end:
            yield rounded(number + away * max(1.0, abs(number)))
            if abs(bound) != float("inf"):
                yield bound
