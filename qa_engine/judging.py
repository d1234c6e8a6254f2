"""Judging all subjects of a kind by all rules about it, at once."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl
from numpy.typing import NDArray

from qa_engine.asking import Known, known_of
from qa_engine.conformity import PENDING, outcome_expression
from qa_engine.facts.catalogue import Catalogue
from qa_engine.facts.past import Past
from qa_engine.permissions import Codes, Permission, covered
from qa_engine.register import day_start
from qa_engine.rulesets import Edition, Rule
from qa_engine.subjects import subjects_of

NOT_IN_FORCE = 9
"""Stands for no outcome at all where outcomes are plain integers."""


@dataclass(frozen=True)
class InForce:
    """A rule as one edition words it, with the instants between which it judges."""

    rule: Rule
    starts: datetime
    ends: datetime | None

    def expression(self, first: datetime, last: datetime) -> pl.Expr:
        """Return the outcome of subjects between two instants; null where not in force."""
        rule = self.rule
        applies = rule.applies_if.expression() if rule.applies_if else None
        outcome = outcome_expression(applies, rule.requires.expression())
        if self.starts <= first and (self.ends is None or last < self.ends):
            return outcome
        now = pl.col("judged at")
        in_force = (
            now >= self.starts
            if self.ends is None
            else now.is_between(self.starts, self.ends, closed="left")
        )
        return pl.when(in_force).then(outcome)


@dataclass(frozen=True)
class Requirement:
    """A rule through its editions, all about the same kind of subject.

    Attributes:
        rule_set, rule: its name.
        subject: the kind of subject it judges.
        within: how long after an event it may still be fulfilled.
        editions: its wordings, by the start of their force.
    """

    rule_set: str
    rule: str
    subject: str
    within: timedelta | None
    editions: tuple[InForce, ...]

    def needs(self) -> list[str]:
        """Return the facts that its conditions and limits name."""
        return list(dict.fromkeys(name for e in self.editions for name in e.rule.needs))

    def wordings(self) -> list[Rule]:
        """Return the rule as each of its editions words it."""
        return [edition.rule for edition in self.editions]


def requirements_of(editions: Iterable[Edition], zone: ZoneInfo) -> list[Requirement]:
    """Return the requirements that editions hold, in the order of their names."""
    wordings: dict[tuple[str, str, str, timedelta | None], list[InForce]] = {}
    for edition in editions:
        starts = day_start(edition.in_force_from, zone)
        until = edition.in_force_until
        ends = day_start(until + timedelta(days=1), zone) if until else None
        for rule in edition.rules:
            key = (rule.rule_set, rule.rule, rule.subject, rule.within)
            wordings.setdefault(key, []).append(InForce(rule, starts, ends))
    return [
        Requirement(*key, tuple(sorted(wordings[key], key=lambda one: one.starts)))
        for key in sorted(wordings, key=lambda k: (*k[:3], k[3] or timedelta()))
    ]


@dataclass(frozen=True)
class Judged:
    """The subjects of a kind, what is known of them, and the outcome of each requirement.

    Attributes:
        subjects: the subjects, sorted by (item, at, record).
        known: the facts that the requirements need.
        requirements: what they were judged by.
        outcomes: an int8 array per requirement, ``NOT_IN_FORCE`` where no edition was.
        wording: per requirement the place of the edition in force in its ``editions``.
        permissions: what the operator permitted.
        permitted: per requirement which permission covers each subject; None if none does.
        past: the records that they were judged on.
    """

    subjects: pl.DataFrame
    known: Known
    requirements: Sequence[Requirement]
    outcomes: Sequence[NDArray[np.int8]]
    wording: Sequence[NDArray[np.int8]]
    permissions: Sequence[Permission]
    permitted: Sequence[Codes | None]
    past: Past


def judge(
    requirements: Sequence[Requirement],
    past: Past,
    catalogue: Catalogue,
    by_day: bool,
    permissions: Sequence[Permission] = (),
    only: Collection[str] | None = None,
) -> Judged:
    """Judge the subjects of requirements that share a kind of subject and a time to fulfil.

    Args:
        requirements: what to judge by.
        past: the records to judge on.
        catalogue: the facts that requirements may name.
        by_day: whether things are judged at the end of each day.
        permissions: what the operator permitted.
        only: the items whose subjects are judged; by default, those of all.
    """
    kind, within = requirements[0].subject, requirements[0].within
    subjects = _with_until(_wanted(subjects_of(kind, past, by_day), only), within, past.as_of)
    names = dict.fromkeys(name for one in requirements for name in one.needs())
    known = known_of(kind, names, subjects, past, catalogue)
    outcomes, wording = _outcomes(requirements, subjects, known)
    if within is not None:
        open_still = (subjects["at"] + within > past.as_of).to_numpy()
        outcomes = [np.where(open_still & (o < 1), PENDING, o).astype(np.int8) for o in outcomes]
    permitted: Sequence[Codes | None] = [None] * len(requirements)
    if permissions:
        rules = [(one.wordings(), mine) for one, mine in zip(requirements, wording, strict=True)]
        permitted = covered(permissions, rules, subjects, past.as_of, past.register.zone)
    return Judged(subjects, known, requirements, outcomes, wording, permissions, permitted, past)


def _wanted(subjects: pl.DataFrame, only: Collection[str] | None) -> pl.DataFrame:
    if only is None:
        return subjects
    wanted = pl.Series(list(only), dtype=pl.String).implode()
    return subjects.filter(pl.col("item").is_in(wanted))


def _with_until(subjects: pl.DataFrame, within: timedelta | None, as_of: datetime) -> pl.DataFrame:
    if within is None:
        return subjects
    return subjects.with_columns(until=pl.min_horizontal(pl.col("at") + within, pl.lit(as_of)))


def _outcomes(
    requirements: Sequence[Requirement], subjects: pl.DataFrame, known: Known
) -> tuple[list[NDArray[np.int8]], list[NDArray[np.int8]]]:
    if subjects.is_empty():
        nothing = [np.zeros(0, np.int8) for _ in requirements]
        return nothing, nothing
    first, last = subjects["at"].min(), subjects["at"].max()
    # Lazily, so that what several rules have in common is worked out once.
    table = (
        known.frame.lazy()
        .with_columns(subjects["at"].alias("judged at"))
        .select(
            edition.expression(first, last).alias(f"{place} {version}")  # type: ignore[arg-type]
            for place, one in enumerate(requirements)
            for version, edition in enumerate(one.editions)
        )
        .collect()
    )
    outcomes, wording = [], []
    for place, one in enumerate(requirements):
        columns = [table[f"{place} {version}"] for version in range(len(one.editions))]
        outcome, worded = _joined([c.fill_null(NOT_IN_FORCE).to_numpy() for c in columns])
        outcomes.append(_broadcast(outcome, subjects.height))
        wording.append(_broadcast(worded, subjects.height))
    return outcomes, wording


def _joined(columns: list[NDArray[np.int8]]) -> tuple[NDArray[np.int8], NDArray[np.int8]]:
    """Return the outcomes of several editions as one, and which edition each came from."""
    outcome, wording = columns[0], np.zeros(len(columns[0]), np.int8)
    for version, column in enumerate(columns[1:], start=1):
        mine = column != NOT_IN_FORCE
        outcome = np.where(mine, column, outcome)
        wording = np.where(mine, np.int8(version), wording)
    return outcome, wording


def _broadcast(column: NDArray[np.int8], height: int) -> NDArray[np.int8]:
    """Return a column in full; a condition without facts gives a single outcome for all."""
    return np.broadcast_to(column, height) if len(column) != height else column
