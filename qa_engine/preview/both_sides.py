"""Judging by both sides: every subject of the history under the old and the new wording.

Facts are found once for both. Days of force are set aside: each wording judges all of the history.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby

import numpy as np
import polars as pl
from numpy.typing import NDArray

from qa_engine.blocks import Batch, in_blocks
from qa_engine.conformity import DOES_NOT_CONFORM
from qa_engine.facts.past import Past
from qa_engine.history import History
from qa_engine.inspection import Course
from qa_engine.judging import NOT_IN_FORCE, InForce, Judged, Requirement, judge
from qa_engine.permissions import Codes
from qa_engine.preview.adoption import Pair
from qa_engine.register import BEGINNING
from qa_engine.rulesets import Rule

Outcomes = NDArray[np.int8]

PERMITTED = 4
"""Stands for not conforming under a permission, where outcomes are plain integers."""


@dataclass(frozen=True)
class Verdicts:
    """What both wordings of a rule say of the same subjects, row for row.

    Attributes:
        pair: the rule.
        subjects: whom it judges, sorted by (item, at, record); things at the end of each day.
        old, new: the outcomes, ``PERMITTED`` for a failure under a permission and
            ``NOT_IN_FORCE`` throughout where a side has no such rule.
        known: the facts that either wording needs.
    """

    pair: Pair
    subjects: pl.DataFrame
    old: Outcomes
    new: Outcomes
    known: pl.DataFrame


@dataclass(frozen=True)
class _Sides:
    """A pair with the requirements that its wordings make; one and the same if they judge alike."""

    pair: Pair
    old: Requirement | None
    new: Requirement | None

    @classmethod
    def of(cls, pair: Pair) -> "_Sides":
        new = _requirement(pair.new)
        return cls(pair, new if pair.judges_alike else _requirement(pair.old), new)

    @property
    def requirements(self) -> list[Requirement]:
        both = [self.old, self.new] if self.old is not self.new else [self.new]
        return [one for one in both if one]


def _requirement(rule: Rule | None) -> Requirement | None:
    if rule is None:
        return None
    always = (InForce(rule, BEGINNING, None),)
    return Requirement(rule.rule_set, rule.rule, rule.subject, rule.within, always)


def judged_by_both(
    pairs: Sequence[Pair], history: History, course: Course
) -> Iterator[tuple[Verdicts, Past]]:
    """Yield the verdicts on each rule, part by part of the history, with that part."""
    sides = [_Sides.of(pair) for pair in pairs]
    requirements = [one for side in sides for one in side.requirements]
    for batches, part in in_blocks(requirements, history, course.assignment.blocks):
        past = course.past(part)
        for subject, alike in groupby(batches, key=lambda batch: batch[0].subject):
            answers = _Answers.of(list(alike), past, course)
            mine = [side for side in sides if side.pair.subject == subject]
            yield from ((answers.on(side), past) for side in mine)


def _with_permission(outcome: Outcomes, permitted: Codes | None) -> Outcomes:
    if permitted is None:
        return outcome
    covered = (outcome == DOES_NOT_CONFORM) & (permitted > 0)
    return np.where(covered, PERMITTED, outcome).astype(np.int8)


@dataclass(frozen=True)
class _Answers:
    """The verdicts on one kind of subject; each requirement is known by its identity."""

    judged: dict[int, tuple[Judged, Outcomes]]

    @classmethod
    def of(cls, batches: Sequence[Batch], past: Past, course: Course) -> "_Answers":
        found: dict[int, tuple[Judged, Outcomes]] = {}
        for batch in batches:
            judged = judge(batch, past, course.catalogue, True, course.assignment.permissions)
            answers = zip(batch, judged.outcomes, judged.permitted, strict=True)
            for one, outcome, permitted in answers:
                found[id(one)] = judged, _with_permission(outcome, permitted)
        return cls(found)

    def on(self, side: _Sides) -> Verdicts:
        judged = [self.judged[id(one)][0] for one in side.requirements]
        subjects = judged[0].subjects
        none = np.full(subjects.height, NOT_IN_FORCE, np.int8)
        old, new = (
            none if one is None else self.judged[id(one)][1] for one in (side.old, side.new)
        )
        columns = {column.name: column for one in judged for column in one.known.frame}
        return Verdicts(side.pair, subjects, old, new, pl.DataFrame(list(columns.values())))
