"""Scores of rules: how much of what a rule does its examples pin down."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import islice

from qa_engine.conditions.numbers import Subject
from qa_engine.facts.fact import Fact
from qa_engine.proof.boundaries import DIGITS
from qa_engine.proof.demands import Demand, demands
from qa_engine.proof.mutants import Original
from qa_engine.proof.trial import Trial
from qa_engine.proof.written import example_line, listed_under
from qa_engine.rulesets import Edition, Rule
from qa_engine.rulesets.examples import subject_of, wrong_value
from qa_engine.yaml_tree import Problem

MOST_WITNESSES = 8
"""From how many witnesses the tidiest is chosen."""

EASY_DIGITS = 6


@dataclass(frozen=True)
class Unmet:
    """A demand that no example meets, with one that would.

    Attributes:
        demand: what is asked.
        witness: a subject that meets it.
        under: the outcome that the rule as it stands gives the subject.
        line: the subject as an entry of the examples.
    """

    demand: Demand
    witness: Mapping[str, object]
    under: str
    line: str


@dataclass(frozen=True)
class Score:
    """How much of what a rule does its examples pin down.

    Attributes:
        rule: the rule.
        mutants, noticed: how many mutants it has, and how many some example notices.
        cases, shown: how many cases it has, and how many some example shows.
        unmet: what no example does.
        alike: mutants and cases that no subject was found for; they are not counted.
    """

    rule: Rule
    mutants: int
    noticed: int
    cases: int
    shown: int
    unmet: tuple[Unmet, ...]
    alike: tuple[Demand, ...]

    @property
    def share(self) -> float:
        """Return which share of all that is asked of its examples they do."""
        return share((self,))


def share(scores: Iterable[Score]) -> float:
    """Return which share of all that is asked of the examples of some rules they do."""
    scores = tuple(scores)
    asked = sum(one.mutants + one.cases for one in scores)
    return sum(one.noticed + one.shown for one in scores) / asked if asked else 1.0


def score(original: Original) -> Score:
    """Return the score of a rule."""
    rule, facts = original.rule, original.facts
    examples = [(one, rule.outcome_of_one(one)) for one in sound_examples(rule, facts)]
    trial = Trial([rule], facts, [one for one, _ in examples], _moved(original))
    asked = list(demands(original, lambda name: trial.values[name]))
    met = [any(one.is_met_by(*example) for example in examples) for one in asked]
    open_ones = [one for one, done in zip(asked, met, strict=True) if not done]
    found = [(one, _witness(one, trial)) for one in open_ones]
    unmet = tuple(_unmet(one, witness, original) for one, witness in found if witness is not None)
    alike = tuple(one for one, witness in found if witness is None)
    counted = [one for one in asked if one not in alike]
    mutants = sum(one.kind == "mutant" for one in counted)
    missed = sum(one.demand.kind == "mutant" for one in unmet)
    cases = len(counted) - mutants
    shown = cases - (len(unmet) - missed)
    return Score(rule, mutants, mutants - missed, cases, shown, unmet, alike)


def unmet_problem(unmet: Unmet, score: Score, edition: Edition) -> Problem:
    """Return a demand that no example meets as a problem of its file."""
    verb = "notices" if unmet.demand.kind == "mutant" else "shows"
    what = f"no example of '{score.rule.rule}' {verb} {unmet.demand.what}"
    help = f"this one does, and {OUTCOME[unmet.under]}:\n        {unmet.line}"
    return unmet.demand.place.problem(edition.document, what, help)


OUTCOME = {
    "conforms": "conforms",
    "does_not_conform": "does not conform",
    "undecided": "is undecided",
    "not_applicable": "is not judged",
}
"""How a sentence tells the outcome of an example."""


def sound_examples(rule: Rule, facts: Mapping[str, Fact]) -> list[dict[str, object]]:
    """Return the examples of a rule as subjects, those with values that cannot be left out."""
    return [
        subject_of(example, facts)
        for example in rule.examples
        if all(
            name in facts and (written is None or not wrong_value(facts[name], written))
            for name, written in example.stated.items()
        )
    ]


def _moved(original: Original) -> list[Rule]:
    moved = (limit for one in original.quantities for _, limit in one.moved())
    return [rule for limit in moved if (rule := original.with_limit(limit))]


def _witness(demand: Demand, trial: Trial) -> Subject | None:
    """Return the first subject of a trial that meets a demand, None if none does."""
    wanted: Iterable[int] = range(len(trial.subjects))
    if demand.turned:
        wanted = (trial.usual_outcomes != trial.outcomes(demand.turned)).nonzero()[0]
    found = (trial.subjects[at] for at in wanted)
    good = (one for one in found if demand.test is None or demand.test(one))
    return min(islice(good, MOST_WITNESSES), key=_untidiness, default=None)


def _untidiness(subject: Subject) -> int:
    """Return how many digits of a subject's numbers nobody would write by hand."""
    written = (f"{one:.{DIGITS}g}" for one in subject.values() if isinstance(one, float))
    return sum(max(0, len(one) - EASY_DIGITS) for one in written)


def _unmet(demand: Demand, witness: Subject, original: Original) -> Unmet:
    under = listed_under(original.rule.outcome_of_one(witness))
    return Unmet(demand, witness, under, example_line(witness, original.facts, original.rule))
