"""Changes: the subjects whose outcome a new edition would turn, and from what to what."""

import numpy as np
import polars as pl

from qa_engine.conformity import CONFORMS, DOES_NOT_CONFORM, NOT_APPLICABLE, PENDING, UNDECIDED
from qa_engine.facts.catalogue import Catalogue
from qa_engine.judging import NOT_IN_FORCE
from qa_engine.preview.both_sides import PERMITTED, Verdicts
from qa_engine.rulesets import Rule
from qa_engine.wording import limits_measured, measured

INSTANT = pl.Datetime("us", "UTC")

OUTCOME_WORDS = {
    CONFORMS: "conforms",
    DOES_NOT_CONFORM: "does not conform",
    PERMITTED: "does not conform, permitted",
    UNDECIDED: "undecided",
    PENDING: "pending",
    NOT_APPLICABLE: "not applicable",
    NOT_IN_FORCE: "no such rule",
}
"""What the outcomes are called; the last one where an edition has no such rule."""

CHANGES = {
    DOES_NOT_CONFORM: "newly fails",
    CONFORMS: "newly passes",
    PERMITTED: "fails under permission",
    UNDECIDED: "becomes undecided",
    PENDING: "no longer judged",
    NOT_APPLICABLE: "no longer judged",
    NOT_IN_FORCE: "no longer judged",
}
"""What a change is called, by the outcome it leads to."""

OF_CONCERN = (DOES_NOT_CONFORM, PERMITTED, UNDECIDED)
"""A change counts if it comes from or leads to one of these."""

SCHEMA: dict[str, pl.DataType] = {
    "rule_set": pl.String(),
    "rule": pl.String(),
    "grading": pl.String(),
    "subject_kind": pl.String(),
    "subject": pl.String(),
    "van": pl.String(),
    "tank": pl.String(),
    "item": pl.String(),
    "at": INSTANT,
    "change": pl.String(),
    "was": pl.String(),
    "becomes": pl.String(),
    "measured": pl.String(),
    "old_limits": pl.String(),
    "new_limits": pl.String(),
}
"""The columns of a frame of changes; ``measured`` and the limits hold JSON text."""

ORDER = ("rule_set", "rule", "subject_kind", "van", "tank", "item", "at", "subject")


def changes_of(verdicts: Verdicts, catalogue: Catalogue) -> pl.DataFrame:
    """Return a row for each subject whose outcome changes, in no particular order."""
    old, new = verdicts.old, verdicts.new
    concerns = np.isin(old, OF_CONCERN) | np.isin(new, OF_CONCERN)
    changed = np.flatnonzero((old != new) & concerns)
    if not len(changed):
        return pl.DataFrame(schema=SCHEMA)
    pair = verdicts.pair
    facts = catalogue.facts_of(pair.subject)
    needs = dict.fromkeys(n for rule in (pair.old, pair.new) if rule for n in rule.needs)
    names = ("subject", "van", "tank", "item", "at")
    subjects = verdicts.subjects[changed].select(pl.col(n).alias(f"{n} judged") for n in names)
    known: pl.DataFrame = verdicts.known[changed]
    texts = {"rule_set": pair.rule_set, "rule": pair.rule, "grading": pair.either.grading}
    columns = {
        **{name: pl.lit(text) for name, text in texts.items()},
        "subject_kind": pl.lit(pair.subject),
        **{name: pl.col(f"{name} judged") for name in names},
        "change": _named(new[changed], CHANGES),
        "was": _named(old[changed], OUTCOME_WORDS),
        "becomes": _named(new[changed], OUTCOME_WORDS),
        "measured": measured({n: facts[n] for n in needs if n in facts}),
        "old_limits": _limits(pair.old),
        "new_limits": _limits(pair.new),
    }
    table = subjects.hstack(known.get_columns())
    return table.select(columns[name].alias(name) for name in SCHEMA)


def in_order(changes: pl.DataFrame) -> pl.DataFrame:
    """Return changes by rule, van, tank and time; nulls last."""
    return changes.sort(ORDER, nulls_last=True)


def _named(outcome: np.ndarray, words: dict[int, str]) -> pl.Expr:
    codes = pl.lit(pl.Series(outcome, dtype=pl.Int8))
    return codes.replace_strict(words, return_dtype=pl.String)


def _limits(rule: Rule | None) -> pl.Expr:
    limits = rule.limits if rule else {}
    return limits_measured({n: (one.expression(), one.unit.name) for n, one in limits.items()})
