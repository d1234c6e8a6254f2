"""Verification of rule sets: their examples judged and scored, and their flaws found."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from qa_engine.facts.catalogue import Catalogue
from qa_engine.proof.flaws import flaws
from qa_engine.proof.mutants import Original
from qa_engine.proof.rivals import rivals
from qa_engine.proof.scoring import Score, score, unmet_problem
from qa_engine.rulesets import Edition, Rule, check_examples
from qa_engine.yaml_tree import Problem


@dataclass(frozen=True)
class Verification:
    """What became of verifying rule sets.

    Attributes:
        wrong: what is wrong with rules and examples, by place.
        lacking: what the examples of rules that score too little do not do, rule by rule.
        scores: the score of every rule that can both conform and fail; empty if none was wanted.
    """

    wrong: tuple[Problem, ...]
    lacking: tuple[Problem, ...]
    scores: tuple[Score, ...]

    @property
    def problems(self) -> tuple[Problem, ...]:
        """Return all that must be put right."""
        return (*self.wrong, *self.lacking)


def verify(
    editions: Sequence[Edition], catalogue: Catalogue, least_score: float | None = 1.0
) -> Verification:
    """Return what is wrong with rules, and what their examples do not pin down.

    Args:
        editions: the rule sets, read.
        catalogue: the facts that they name.
        least_score: the share of what is asked that the examples of each rule must do, from 0 to
            1; None to leave out scores and the comparison of rules with each other.
    """
    flawed = list(flaws(editions, catalogue))
    wrong = [*(problem for _, problem in flawed), *check_examples(editions, catalogue)]
    if least_score is None:
        return Verification(_in_order(wrong), (), ())
    wrong += rivals(editions, catalogue)
    scored = list(_scored(editions, catalogue, [rule for rule, _ in flawed]))
    low = (
        unmet_problem(unmet, found, edition)
        for edition, found in scored
        for unmet in found.unmet
        if found.share < least_score
    )
    return Verification(_in_order(wrong), tuple(low), tuple(found for _, found in scored))


def _scored(
    editions: Sequence[Edition], catalogue: Catalogue, flawed: Sequence[Rule]
) -> Iterator[tuple[Edition, Score]]:
    for edition in editions:
        for rule in edition.rules:
            if not any(rule is one for one in flawed):
                facts = catalogue.facts_of(rule.subject)
                yield edition, score(Original(rule, facts, edition.document))


def _in_order(problems: Sequence[Problem]) -> tuple[Problem, ...]:
    return tuple(sorted(problems, key=lambda one: (one.source, one.line, one.column)))
