"""The inspection: records and rule sets in, coverage, findings and what falls due out.

An inspection is a pure function of its arguments: no clock, no file, no network. The fleet is
judged in blocks of whole tanks, which bounds memory and lets blocks be judged anywhere; a second
stage judges what belongs to no tank: vans, meters, bases, sources.
"""

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import cached_property
from importlib.metadata import EntryPoint
from typing import Literal, TypeVar

import polars as pl

from qa_engine import due, findings
from qa_engine.blocks import in_blocks
from qa_engine.coverage import BY_ITEM, coverage_by_item, coverage_of, summed
from qa_engine.coverage import SCHEMA as COVERAGE
from qa_engine.due import due_of
from qa_engine.facts import ENGINE_FACTS
from qa_engine.facts.catalogue import Catalogue
from qa_engine.facts.past import Past
from qa_engine.findings import Telling, findings_of, last_members
from qa_engine.history import History
from qa_engine.judging import Judged, Requirement, judge, requirements_of
from qa_engine.lifecycle import (
    NO_ANSWERS,
    Changes,
    Earlier,
    Present,
    answers_of,
    changes_since,
    is_of_interest,
)
from qa_engine.permissions import LOOKED_AT, Account, Circumstances, Permission, accounts_of
from qa_engine.plugin_host import Plugin, PluginHost, open_host
from qa_engine.register import Register
from qa_engine.rulesets import Edition, read_rule_sets
from qa_engine.subjects import Period

RuleSources = Iterable[tuple[str, bytes]]
UnknownNames = Literal["refuse", "undecided"]
Answer = TypeVar("Answer")
Watch = Callable[[Judged, pl.DataFrame], None]
"""Is shown what was judged together, and the findings in it as ``qa_engine.findings.SCHEMA`` with
the columns of ``last_members``."""

NOTHING_TOLD = pl.DataFrame(schema=findings.SCHEMA)


@dataclass(frozen=True)
class Assignment:
    """What is to be inspected, and as of when.

    Attributes:
        frames: the accepted records, a frame per kind in any order.
        register: the operator's register.
        as_of: the instant as of which things are judged; later records are not used.
        period: whole days; by default all events are judged, and things as of ``as_of``.
        blocks: how many blocks of tanks to cut the fleet into; by default as many as serve.
        permissions: what the operator permitted.
        earlier: an earlier report, to say what became of its findings.
    """

    frames: Mapping[str, pl.DataFrame]
    register: Register
    as_of: datetime
    period: Period | None = None
    blocks: int | None = None
    permissions: tuple[Permission, ...] = ()
    earlier: Earlier | None = None


@dataclass(frozen=True)
class Inspection:
    """What an inspection found.

    Attributes:
        assignment: what was inspected.
        editions: the rule sets that judged.
        catalogue: the facts that they could name.
        plugins: every plugin and what became of it.
        coverage: a row per rule and edition with the count of each outcome.
        findings: as ``qa_engine.findings.SCHEMA``, in order.
        due: as ``qa_engine.due.SCHEMA``, in order.
        used: how many records were used.
        later: how many records lie after ``as_of`` and were not used.
        permissions: what became of each permission.
        outside: findings that are open, or new since the earlier report, outside the period.
        changes: what became of the earlier report's findings, and what is new.
    """

    assignment: Assignment
    editions: tuple[Edition, ...]
    catalogue: Catalogue
    plugins: tuple[Plugin, ...]
    coverage: pl.DataFrame
    findings: pl.DataFrame
    due: pl.DataFrame
    used: int
    later: int
    permissions: tuple[Account, ...] = ()
    outside: pl.DataFrame = field(default_factory=lambda: NOTHING_TOLD)
    changes: Changes | None = None

    @property
    def judged(self) -> int:
        """Return how many verdicts were given, of any outcome."""
        counts = self.coverage.select(pl.sum_horizontal(pl.exclude(*_NAMES)).sum()).item()
        return int(counts or 0)

    @property
    def plugins_failed(self) -> bool:
        """Tell whether any plugin failed."""
        return any(plugin.state == "failed" for plugin in self.plugins)


_NAMES = ("rule_set", "rule", "edition")


def inspect(
    assignment: Assignment,
    entries: Iterable[EntryPoint],
    rules: Callable[[PluginHost], RuleSources],
) -> Inspection:
    """Return what an inspection finds.

    Args:
        assignment: what is to be inspected.
        entries: the plugins to load.
        rules: gives the rule files, once it is known which plugins work.

    A plugin that fails half-way is left out and the inspection begins again, so that a verdict
    never depends on which block it failed in.

    Raises:
        RuleSetError: a rule file cannot be used; every problem of all files is in it.
    """
    return with_what_works(assignment, entries, rules, Course.run)


def with_what_works(
    assignment: Assignment,
    entries: Iterable[EntryPoint],
    rules: Callable[[PluginHost], RuleSources],
    work: Callable[["Course"], Answer],
) -> Answer:
    """Return what some work comes to, done again without each plugin that fails during it."""
    entries = tuple(entries)
    failed: dict[str, str] = {}
    traces: dict[str, str] = {}
    while True:
        host = open_host(entries, failed, traces)
        catalogue = Catalogue.of((*ENGINE_FACTS, *host.groups))
        names: UnknownNames = "undecided" if host.wall.failures else "refuse"
        editions = read_rule_sets(rules(host), catalogue, unknown_names=names)
        at_start = dict(host.wall.failures)
        answer = work(Course(assignment, editions, host, catalogue))
        if host.wall.failures == at_start:
            return answer
        failed, traces = dict(host.wall.failures), dict(host.wall.traces)


@dataclass(frozen=True)
class Part:
    """What judging some subjects came to.

    Attributes:
        coverage: as ``qa_engine.coverage.SCHEMA``, or ``BY_ITEM`` if the course tells it so.
        findings: as ``qa_engine.findings.SCHEMA``.
        due: as ``qa_engine.due.SCHEMA``.
        all_told: the findings of all times, as far as permissions need to know of them.
        answers: what was asked of an earlier report.
        outside: what lies outside the period.
    """

    coverage: pl.DataFrame
    findings: pl.DataFrame
    due: pl.DataFrame
    all_told: pl.DataFrame
    answers: pl.DataFrame
    outside: pl.DataFrame


@dataclass(frozen=True)
class Course:
    """One run of an inspection with the plugins that work.

    ``watch`` sees every finding that a report may tell, while what it was judged on is at hand.
    ``by_item`` has the coverage of each item told apart; a course over a period cannot.
    """

    assignment: Assignment
    editions: tuple[Edition, ...]
    host: PluginHost
    catalogue: Catalogue
    watch: Watch | None = None
    by_item: bool = False

    def run(self) -> Inspection:
        """Judge everything."""
        total = sum(frame.height for frame in self.assignment.frames.values())
        used = self.history.count()
        return self.inspection_of(list(self.parts()), used, total - used)

    def inspection_of(self, parts: Sequence[Part], used: int, later: int) -> Inspection:
        """Return the inspection that parts come to.

        Args:
            parts: what was judged.
            used: how many records were used.
            later: how many were not, since they lie after the instant of the inspection.
        """
        task = self.assignment
        told, outside = (
            pl.concat([NOTHING_TOLD, *(getattr(part, name) for part in parts)])
            for name in ("findings", "outside")
        )
        return Inspection(
            task,
            self.editions,
            self.catalogue,
            self.host.plugins,
            summed([part.coverage for part in parts], self.editions),
            findings.in_order(told),
            due.in_order(pl.concat([_EMPTY.due, *(part.due for part in parts)])),
            used=used,
            later=later,
            permissions=self._accounts(parts),
            outside=findings.in_order(outside),
            changes=self._changes(pl.concat([told, outside]), parts),
        )

    @cached_property
    def history(self) -> History:
        """Return the history up to the instant of the inspection."""
        return History.of_records(self._frames(), self.assignment.register)

    def _frames(self) -> dict[str, pl.DataFrame]:
        task = self.assignment
        return {k: f.filter(pl.col("at") <= task.as_of) for k, f in task.frames.items()}

    def _changes(self, told: pl.DataFrame, parts: Iterable[Part]) -> Changes | None:
        task = self.assignment
        if task.earlier is None:
            return None
        answers = pl.concat([_EMPTY.answers, *(part.answers for part in parts)])
        now = Present(self._frames(), task.as_of, told, answers, self.editions, self.host.plugins)
        return changes_since(task.earlier, now)

    def _accounts(self, parts: Iterable[Part]) -> tuple[Account, ...]:
        task = self.assignment
        if not task.permissions:
            return ()
        by_day = task.period is not None
        known = Circumstances(self.editions, task.register, task.as_of, by_day)
        told = pl.concat([_EMPTY.all_told, *(part.all_told for part in parts)])
        return accounts_of(task.permissions, told, known)

    @cached_property
    def requirements(self) -> list[Requirement]:
        """Return what is judged by."""
        return requirements_of(self.editions, self.assignment.register.zone)

    def parts(self) -> Iterator[Part]:
        """Judge tanks block by block, then what belongs to no tank."""
        for batches, history in in_blocks(self.requirements, self.history, self.assignment.blocks):
            past = self.past(history)
            yield from (self.part(batch, past) for batch in batches)

    def nothing(self) -> Part:
        """Return what judging nothing comes to."""
        return replace(_EMPTY, coverage=pl.DataFrame(schema=BY_ITEM if self.by_item else COVERAGE))

    def past(self, history: History) -> Past:
        """Return what facts may look at, of some history."""
        complete = not self.host.wall.failures
        return Past(history, self.host.models, self.assignment.as_of, complete)

    def part(
        self,
        batch: Sequence[Requirement],
        past: Past,
        only: Collection[str] | None = None,
        since: datetime | None = None,
    ) -> Part:
        """Judge the subjects of one batch of requirements.

        Args:
            batch: requirements about one kind of subject, with one time to fulfil them.
            past: the records to judge on.
            only: the items whose subjects are judged; by default, those of all.
            since: leave out the findings that were over before; see ``findings_of``.
        """
        task = self.assignment
        by_day = task.period is not None
        judged = judge(batch, past, self.catalogue, by_day, task.permissions, only)
        told = findings_of(judged, Telling(past, self.catalogue, self.troubles()), since)
        all_told = told.select(*LOOKED_AT) if task.permissions else _EMPTY.all_told
        answers = answers_of(task.earlier, judged)
        zone = past.register.zone
        if task.period is None:
            self._show(judged, told, pl.lit(value=True))
            soon = due_of(judged, self.catalogue, task.as_of, zone)
            counts = coverage_by_item(judged) if self.by_item else coverage_of(judged)
            return Part(counts, told, soon, all_told, answers, NOTHING_TOLD)
        first, after = task.period.instants(zone)
        within = (pl.col("until") >= first) & (pl.col("since") < after)
        counts = coverage_of(judged, first, after)
        besides = ~within & is_of_interest(task.as_of, task.earlier)
        self._show(judged, told, within | besides)
        outside = told.filter(besides)
        return Part(counts, told.filter(within), _EMPTY.due, all_told, answers, outside)

    def _show(self, judged: Judged, told: pl.DataFrame, wanted: pl.Expr) -> None:
        if self.watch is not None:
            self.watch(judged, told.hstack(last_members(judged)).filter(wanted))

    def troubles(self) -> dict[str, str]:
        """Return why facts are missing, for every fact that no rule could be given."""
        failed = [p for p in self.host.plugins if p.state == "failed"]
        text = " ".join(f"Plugin '{p.name}' failed ({p.reason})." for p in failed)
        known = {n for group in self.catalogue.groups for n in (f.name for f in group.facts)}
        named = {n for e in self.editions for rule in e.rules for n in rule.needs}
        asked = {f.name for g in self.catalogue.groups if g.asks_models for f in g.facts}
        return dict.fromkeys((named - known) | asked, text) if failed else {}


_EMPTY = Part(
    pl.DataFrame(schema=COVERAGE),
    NOTHING_TOLD,
    pl.DataFrame(schema=due.SCHEMA),
    pl.DataFrame(schema=LOOKED_AT),
    NO_ANSWERS,
    NOTHING_TOLD,
)
