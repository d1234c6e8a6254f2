"""What a hostile input is put through: everything the engine does with a rule file or condition."""

from random import Random

import polars as pl

from qa_engine.conditions import Condition, ConditionError, Limit, parse_condition
from qa_engine.errors import QAEngineError, RuleSetError
from qa_engine.explanation import explain
from qa_engine.facts import ENGINE_FACTS
from qa_engine.facts.catalogue import Catalogue
from qa_engine.facts.fact import COLUMN_TYPES, Fact
from qa_engine.rulesets import check_examples, read_rule_sets
from qa_engine.units import unit

CATALOGUE = Catalogue.of(ENGINE_FACTS)
FACTS = CATALOGUE.facts_of("reading")
LIMITS = {
    "limit": Limit("limit", unit("mg/L"), 20.0, None, "made up", None, "20 mg/L"),
    "per_grade": Limit("per_grade", unit("g/L"), {"a": 0.02}, "grade", "made up", None, ""),
    "warmest": Limit("warmest", unit("degF"), 104.0, None, "made up", None, "104 degF"),
    "ratio": Limit("ratio", unit("%"), 80.0, None, "made up", None, "80 %"),
}
VALUES = {
    "number": (None, 0.0, 20.0, -1.0, 1e308, 5e-324),
    "words": (None, "flowing", "a"),
    "yes/no": (None, True, False),
    "records": (None, ["R-1"]),
}


def file_tried(content: object) -> str:
    """Read a rule file, judge its examples and some subjects; return how it ended."""
    assert isinstance(content, bytes)
    try:
        editions = read_rule_sets([("fuzzed.yaml", content)], CATALOGUE)
    except RuleSetError as error:
        return told(error, [str(problem) for problem in error.problems])
    for problem in check_examples(editions, CATALOGUE):
        str(problem)
    for rule in (rule for edition in editions for rule in edition.rules):
        known = subject(rule.needs, CATALOGUE.facts_of(rule.subject), len(rule.rule))
        assert explain(rule, known).outcome == rule.outcome_of_one(known)
        for condition in rule.conditions:
            both_faces(condition, CATALOGUE.facts_of(rule.subject), known)
    return "accepted"


def conditions_tried(text: object) -> str:
    """Parse a condition and ask both its faces of a subject; return how it ended."""
    assert isinstance(text, str)
    try:
        condition = parse_condition(text, FACTS, LIMITS, subject="reading")
    except ConditionError as error:
        return told(error, [fault.message for fault in error.faults])
    both_faces(condition, FACTS, subject((*condition.names, "grade"), FACTS, len(text)))
    return "accepted"


def told(error: QAEngineError, parts: list[str]) -> str:
    """Return how it ended once the error is known to say what is wrong."""
    assert parts
    assert all(parts)
    assert str(error)
    return "refused"


def subject(names: tuple[str, ...], facts: dict[str, Fact], seed: int) -> dict[str, object]:
    """Return values for facts, drawn from a seed."""
    chance = Random(seed)
    return {name: chance.choice(VALUES[facts[name].type]) for name in names if name in facts}


def both_faces(condition: Condition, facts: dict[str, Fact], known: dict[str, object]) -> None:
    """Ask a condition of a subject both ways and hold the answers equal."""
    columns = [
        pl.Series(name, [value], COLUMN_TYPES[facts[name].type]) for name, value in known.items()
    ]
    frame = pl.DataFrame([pl.Series("height", [0]), *columns])
    answer = frame.select("height", answer=condition.expression())["answer"].item()
    assert answer == condition.of_one(known), condition.text
