"""What the rules say of a scope over a period.

Everything is judged, on all records: a verdict on a tank may rest on the check of a meter or on
what its van did elsewhere, so to judge on the records of the scope alone would judge otherwise.
Only what lies in the scope is counted and told. A finding belongs to the scope if any of the events
or days that it is about does.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from importlib.metadata import EntryPoint

import numpy as np
import polars as pl
from numpy.typing import NDArray

from qa_engine import findings
from qa_engine.audit.scope import Scope
from qa_engine.conformity import DOES_NOT_CONFORM, UNDECIDED
from qa_engine.coverage import OUTCOMES, coverage_of, summed
from qa_engine.inspection import Assignment, Course, Inspection, RuleSources, with_what_works
from qa_engine.judging import Judged
from qa_engine.plugin_host import PluginHost
from qa_engine.register import Register
from qa_engine.subjects import Period

PLACED = ("van", "tank", "base", "source")


@dataclass(frozen=True)
class Judgement:
    """What the rules say of a scope over a period.

    Attributes:
        inspection: the inspection of the whole fleet that it is taken from.
        coverage: a row per rule and edition with the count of each outcome.
        findings: those of the period, as ``qa_engine.findings.SCHEMA``, in order.
        before: those that were over before the period and still stand.
        placeless: how many verdicts of the period were about things that belong to no place, and
            so lie outside a scope of places.
    """

    inspection: Inspection
    coverage: pl.DataFrame
    findings: pl.DataFrame
    before: pl.DataFrame
    placeless: int


def judgement_of(
    task: Assignment,
    scope: Scope,
    entries: Iterable[EntryPoint],
    rules: Callable[[PluginHost], RuleSources],
) -> Judgement:
    """Return what the rules say of a scope.

    Args:
        task: everything there is, with a period.
        scope: what is counted and told.
        entries: the plugins to load.
        rules: gives the rule files, once it is known which plugins work.

    Raises:
        RuleSetError: a rule file cannot be used; every problem of all files is in it.
    """
    return with_what_works(task, entries, rules, lambda course: _judged(course, scope))


def _judged(course: Course, scope: Scope) -> Judgement:
    task = course.assignment
    if task.period is None:
        raise ValueError("an audit is over a period")
    counting = _Counting(scope, task.register, task.period)
    inspection = replace(course, watch=counting).run()
    return counting.judgement(inspection)


@dataclass(frozen=True)
class _Counting:
    """Counts what lies in a scope, and keeps the findings that do, batch by batch."""

    scope: Scope
    register: Register
    period: Period
    coverage: list[pl.DataFrame] = field(default_factory=list)
    told: list[pl.DataFrame] = field(default_factory=list)
    placeless: list[pl.DataFrame] = field(default_factory=list)

    def __call__(self, judged: Judged, told: pl.DataFrame) -> None:
        mine = self.scope.holds(judged.subjects, self.register)
        self.coverage.append(self._count(judged, mine))
        self.told.append(told.filter(_touching(judged, told, mine.to_numpy())))
        if not self.scope.is_whole_fleet:
            nowhere = pl.all_horizontal(pl.col(*PLACED).is_null())
            self.placeless.append(self._count(judged, judged.subjects.select(nowhere)["van"]))

    def _count(self, judged: Judged, mine: pl.Series) -> pl.DataFrame:
        taken = mine.to_numpy()
        some = replace(
            judged,
            subjects=judged.subjects.filter(mine),
            outcomes=[outcome[taken] for outcome in judged.outcomes],
            wording=[wording[taken] for wording in judged.wording],
        )
        return coverage_of(some, *self._ends())

    def _ends(self) -> tuple[datetime, datetime]:
        return self.period.instants(self.register.zone)

    def judgement(self, inspection: Inspection) -> Judgement:
        """Return what was counted and kept."""
        first, after = self._ends()
        nothing = pl.DataFrame(schema=findings.SCHEMA)
        told = pl.concat([nothing, *(one.select(*findings.SCHEMA) for one in self.told)])
        told = findings.in_order(told.filter(self._by_rules()))
        within = (pl.col("until") >= first) & (pl.col("since") < after)
        over = (pl.col("until") < first) & pl.col("stands")
        coverage = summed(self.coverage, inspection.editions).filter(self._by_rules())
        return Judgement(
            inspection,
            coverage,
            told.filter(within),
            told.filter(over),
            sum(_verdicts(one.filter(self._by_rules())) for one in self.placeless),
        )

    def _by_rules(self) -> pl.Expr:
        named: Sequence[str] = self.scope.rule_sets
        return pl.col("rule_set").is_in(named) if named else pl.lit(value=True)


def _verdicts(coverage: pl.DataFrame) -> int:
    return int(coverage.select(pl.sum_horizontal(*OUTCOMES).sum()).item() or 0)


def _touching(judged: Judged, told: pl.DataFrame, mine: NDArray[np.bool_]) -> pl.Series:
    """Tell of each finding whether any of its members is among some subjects.

    Members of a finding lie between its first and its last one and have its outcome.
    """
    last = told["place"].to_numpy()
    first = _first_places(judged.subjects, told)
    found = np.zeros(told.height, bool)
    codes = told["outcome"].replace_strict(_CODES, return_dtype=pl.Int8).to_numpy()
    for requirement, code in set(zip(told["requirement"].to_list(), codes.tolist(), strict=True)):
        counted = np.cumsum(mine & (judged.outcomes[requirement] == code))
        counted = np.concatenate([[0], counted])
        theirs = (told["requirement"].to_numpy() == requirement) & (codes == code)
        found[theirs] = counted[last[theirs] + 1] > counted[first[theirs]]
    return pl.Series(found)


_CODES = {"does not conform": DOES_NOT_CONFORM, "undecided": UNDECIDED}


def _first_places(subjects: pl.DataFrame, told: pl.DataFrame) -> NDArray[np.int64]:
    """Return the place of each finding's first member: the first of its item at its beginning."""
    places = subjects.select("item", "at").with_row_index("first")
    places = places.group_by("item", "at").agg(pl.col("first").min())
    asked = subjects["item"].gather(told["place"]).alias("item").to_frame()
    asked = asked.with_columns(told["since"].alias("at"))
    first = asked.join(places, on=["item", "at"], how="left", maintain_order="left")["first"]
    return first.fill_null(told["place"].cast(pl.UInt32)).to_numpy().astype(np.int64)
