"""Rules as pages tell them: worded, with what each limit rests on and how often each fired."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

import polars as pl

from qa_engine.coverage import OUTCOMES
from qa_engine.report.handbook import Entry, LimitTold, entry_of, in_force_on
from qa_engine.rulesets import Edition, Limit

Counts = dict[str, int]
IN_FORCE, AHEAD, OVER = "in force", "not in force yet", "no longer in force"


@dataclass(frozen=True)
class LimitShown:
    """A limit, worded, and whether the day by which it was to be reviewed has passed."""

    told: LimitTold
    overdue: bool


@dataclass(frozen=True)
class RuleTold:
    """A rule, worded.

    Attributes:
        entry: its words.
        limits: its limits.
        counts: how often each outcome was given.
    """

    entry: Entry
    limits: tuple[LimitShown, ...]
    counts: Counts

    @property
    def judged(self) -> int:
        """Return how many verdicts were given, of any outcome."""
        return sum(self.counts.values())


def told_of(edition: Edition, coverage: pl.DataFrame, today: date) -> tuple[RuleTold, ...]:
    """Return the rules of an edition, in the order written.

    Args:
        edition: the edition.
        coverage: as ``qa_engine.coverage.SCHEMA``.
        today: the operator's day.
    """
    mine = coverage.filter(rule_set=edition.rule_set, edition=edition.edition)
    rows = {row["rule"]: {name: row[name] for name in OUTCOMES} for row in mine.to_dicts()}
    none = dict.fromkeys(OUTCOMES, 0)
    told = []
    for rule in edition.rules:
        entry = entry_of(rule)
        pairs = zip(entry.limits, rule.limits.values(), strict=True)
        limits = tuple(LimitShown(worded, overdue(limit, today)) for worded, limit in pairs)
        told.append(RuleTold(entry, limits, rows.get(rule.rule, none)))
    return tuple(told)


def overdue(limit: Limit, today: date) -> bool:
    """Tell whether the day by which a limit was to be reviewed has passed."""
    return limit.review_by is not None and limit.review_by < today


def overdue_of(editions: Iterable[Edition], today: date) -> list[tuple[Edition, str, Limit]]:
    """Return the edition, the rule and the limit of each review that is overdue, longest first."""
    found = [
        (edition, rule.rule, limit)
        for edition in editions
        for rule in edition.rules
        for limit in rule.limits.values()
        if overdue(limit, today)
    ]
    return sorted(found, key=lambda one: (one[2].review_by or date.max, one[1]))


def sums_of(rules: Sequence[RuleTold]) -> Counts:
    """Return how often each outcome was given by all of some rules."""
    return {name: sum(rule.counts[name] for rule in rules) for name in OUTCOMES}


def force_of(edition: Edition, today: date) -> str:
    """Return whether an edition is in force: ``IN_FORCE``, ``AHEAD`` or ``OVER``."""
    if in_force_on(edition, today):
        return IN_FORCE
    return AHEAD if edition.in_force_from > today else OVER
