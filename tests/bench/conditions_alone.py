"""Conditions alone: the rules of ``rules.yaml`` over columns, and over one dict after another."""

from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
import polars as pl
import rule_engine
from figure import Figure, median_s

from qa_engine.conformity import outcome_expression
from qa_engine.facts import ENGINE_FACTS
from qa_engine.facts.catalogue import Catalogue
from qa_engine.facts.fact import Fact
from qa_engine.rulesets import Rule, read_rule_sets

ROWS = 1_000_000
SAMPLE = 5_000
TIMES = 5
MISSING = 0.02


def conditions_alone(rules: Path) -> list[Figure]:
    """Measure outcomes per second, and against the row-wise library."""
    catalogue = Catalogue.of(ENGINE_FACTS)
    (edition,) = read_rule_sets([(rules.name, rules.read_bytes())], catalogue)
    ours_s = theirs_s = 0.0
    for subject in sorted({rule.subject for rule in edition.rules}):
        about = [rule for rule in edition.rules if rule.subject == subject]
        facts = facts_at_random(about, catalogue)
        ours_s += median_s(lambda facts=facts, about=about: outcomes(facts, about), TIMES)
        theirs_s += row_by_row(facts, about) * ROWS / SAMPLE
    checks = ROWS * len(edition.rules)
    return [
        Figure(
            "conditions alone",
            f"{checks / ours_s / 1e6:,.0f} M checks/s",
            ">= 200 M checks/s",
            f"outcomes of {len(edition.rules)} rules on {ROWS:,} subjects each, 2 % missing",
        ),
        Figure(
            "conditions against row-wise",
            f"{theirs_s / ours_s:,.0f} x",
            ">= 100 x",
            f"library rule-engine {rule_engine.__version__}, same conditions, "
            f"{SAMPLE:,} dicts without gaps, scaled; it makes {checks / theirs_s:,.0f} checks/s",
        ),
    ]


def facts_at_random(rules: Sequence[Rule], catalogue: Catalogue) -> pl.DataFrame:
    """Return the facts that rules need, drawn from a seed."""
    rng = np.random.default_rng(5)
    facts = catalogue.facts_of(rules[0].subject)
    needs = dict.fromkeys(name for rule in rules for name in rule.needs)
    return pl.DataFrame([_drawn(facts[name], rng) for name in needs])


def _drawn(fact: Fact, rng: np.random.Generator) -> pl.Series:
    if fact.type == "number":
        column = pl.Series(fact.name, rng.uniform(0, 12, ROWS))
    elif fact.type == "yes/no":
        column = pl.Series(fact.name, rng.random(ROWS) < 0.5)
    else:
        column = pl.Series(fact.name, fact.words).gather(rng.integers(0, len(fact.words), ROWS))
    kept = pl.Series(rng.random(ROWS) >= MISSING)
    return column.to_frame().select(pl.when(kept).then(pl.first()))[fact.name]


def outcomes(facts: pl.DataFrame, rules: Sequence[Rule]) -> pl.DataFrame:
    """Return the outcome of each subject by each rule."""
    return facts.select(
        outcome_expression(
            rule.applies_if and rule.applies_if.expression(), rule.requires.expression()
        ).alias(rule.rule)
        for rule in rules
    )


def row_by_row(facts: pl.DataFrame, rules: Sequence[Rule]) -> float:
    """Return how long the row-wise library takes for a sample [s]."""
    limits = {name: limit.values for rule in rules for name, limit in rule.limits.items()}
    whole = facts.drop_nulls().head(SAMPLE)
    rows = [row | limits for row in whole.iter_rows(named=True)]
    checks = [_check(rule) for rule in rules]
    return median_s(lambda: [check(row) for check in checks for row in rows], 3)


def _check(rule: Rule) -> Callable[[dict[str, object]], int]:
    context = rule_engine.Context(resolver=rule_engine.resolve_item)
    requires = rule_engine.Rule(rule.requires.text, context=context).matches
    if rule.applies_if is None:
        return lambda row: int(requires(row))
    applies = rule_engine.Rule(rule.applies_if.text, context=context).matches
    return lambda row: int(requires(row)) if applies(row) else 3
