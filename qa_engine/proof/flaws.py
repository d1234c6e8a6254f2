"""Flaws of single rules: those that can never fail, never conform, or never apply."""

import math
from collections.abc import Iterator, Sequence

from qa_engine.conditions.numbers import Subject
from qa_engine.conformity import CONFORMS, DOES_NOT_CONFORM, NOT_APPLICABLE
from qa_engine.facts.catalogue import Catalogue
from qa_engine.proof.boundaries import comparisons, margin
from qa_engine.proof.cells import never
from qa_engine.proof.mutants import Place
from qa_engine.proof.scoring import OUTCOME, sound_examples
from qa_engine.proof.trial import Trial
from qa_engine.proof.written import example_line, listed_under
from qa_engine.rulesets import Edition, Rule
from qa_engine.yaml_tree import Problem


def flaws(editions: Sequence[Edition], catalogue: Catalogue) -> Iterator[tuple[Rule, Problem]]:
    """Yield, with its problem, every rule that is proven to lack an outcome that it should have.

    A rule whose examples conform and fail as they should has both outcomes; only the others are
    reasoned on, over all that the catalogue says their facts can be.
    """
    for edition in editions:
        for rule in edition.rules:
            yield from ((rule, problem) for problem in _flaw(rule, edition, catalogue))


def _flaw(rule: Rule, edition: Edition, catalogue: Catalogue) -> Iterator[Problem]:
    facts = catalogue.facts_of(rule.subject)
    examples = sound_examples(rule, facts)
    outcomes = {rule.outcome_of_one(one) for one in examples}
    lacking = [one for one in (DOES_NOT_CONFORM, CONFORMS) if one not in outcomes]
    if not lacking:
        return
    trial = Trial([rule], facts, examples)
    made = set(trial.outcomes(rule).tolist())
    proven = [one for one in lacking if one not in made and _never_gives(trial, rule, one)]
    if not proven:
        return
    what, seen = _told(proven, made)
    about = rule.subject.replace("_", " ")
    like_it = (one for one in trial.subjects if rule.outcome_of_one(one) == seen)
    witness = min(like_it, key=lambda one: _distance(rule, one), default=None)
    help = f"whatever the facts of a {about} are within their ranges, this is so"
    if witness is not None:
        line = example_line(witness, facts, rule)
        help += f"; even this one {OUTCOME[listed_under(seen)]}:\n        {line}"
    place = Place((*rule.path, "requires"))
    yield place.problem(edition.document, f"'{rule.rule}' {what}", help)


def _distance(rule: Rule, subject: Subject) -> float:
    """Return how far the nearest comparison of a requirement is from giving another answer."""
    margins = (margin(one, subject) for one in comparisons(rule.requires.verdict))
    return min((abs(one) for one in margins if one is not None), default=math.inf)


def _told(proven: list[int], made: set[int]) -> tuple[str, int]:
    """Return what is wrong, and the outcome of a subject that shows it."""
    if len(proven) > 1 and NOT_APPLICABLE in made:
        return "applies to nothing: it can neither conform nor fail", NOT_APPLICABLE
    if DOES_NOT_CONFORM in proven:
        return "can never fail", CONFORMS
    return "can never conform", DOES_NOT_CONFORM


def _never_gives(trial: Trial, rule: Rule, outcome: int) -> bool:
    return never(trial, [rule], lambda outcomes: outcome in outcomes[0])
