"""The inspection: records and rule sets in, coverage, findings and what falls due out.

An inspection is a pure function of its arguments: no clock, no file, no network. The fleet is
judged in blocks of whole tanks, which bounds memory and lets blocks be judged anywhere; a second
stage judges what belongs to no tank: vans, meters, bases, sources.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from importlib.metadata import EntryPoint
from itertools import groupby
from typing import Literal

import polars as pl

from qa_engine import due, findings
from qa_engine.coverage import SCHEMA as COVERAGE
from qa_engine.coverage import coverage_of, summed
from qa_engine.due import due_of
from qa_engine.facts import ENGINE_FACTS
from qa_engine.facts.catalogue import Catalogue
from qa_engine.facts.past import Past
from qa_engine.findings import Telling, findings_of
from qa_engine.history import History
from qa_engine.judging import Requirement, judge, requirements_of
from qa_engine.plugin_host import Plugin, PluginHost, open_host
from qa_engine.register import Register
from qa_engine.rulesets import Edition, read_rule_sets
from qa_engine.subjects import Period, is_judged_in_blocks

RuleSources = Iterable[tuple[str, bytes]]
UnknownNames = Literal["refuse", "undecided"]


@dataclass(frozen=True)
class Assignment:
    """What is to be inspected, and as of when.

    Attributes:
        frames: the accepted records, a frame per kind in any order.
        register: the operator's register.
        as_of: the instant as of which things are judged; later records are not used.
        period: whole days; by default all events are judged, and things as of ``as_of``.
        blocks: how many blocks of tanks to cut the fleet into; by default as many as serve.
    """

    frames: Mapping[str, pl.DataFrame]
    register: Register
    as_of: datetime
    period: Period | None = None
    blocks: int | None = None


@dataclass(frozen=True)
class Inspection:
    """What an inspection found.

    Attributes:
        assignment: what was inspected.
        editions: the rule sets that judged.
        plugins: every plugin and what became of it.
        coverage: a row per rule and edition with the count of each outcome.
        findings: as ``qa_engine.findings.SCHEMA``, in order.
        due: as ``qa_engine.due.SCHEMA``, in order.
        used: how many records were used.
        later: how many records lie after ``as_of`` and were not used.
    """

    assignment: Assignment
    editions: tuple[Edition, ...]
    plugins: tuple[Plugin, ...]
    coverage: pl.DataFrame
    findings: pl.DataFrame
    due: pl.DataFrame
    used: int
    later: int

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
    entries = tuple(entries)
    failed: dict[str, str] = {}
    while True:
        host = open_host(entries, failed)
        catalogue = Catalogue.of((*ENGINE_FACTS, *host.groups))
        names: UnknownNames = "undecided" if host.wall.failures else "refuse"
        editions = read_rule_sets(rules(host), catalogue, unknown_names=names)
        at_start = dict(host.wall.failures)
        inspection = _Course(assignment, editions, host, catalogue).run()
        if host.wall.failures == at_start:
            return inspection
        failed = dict(host.wall.failures)


@dataclass(frozen=True)
class _Course:
    """One run of an inspection with the plugins that work."""

    assignment: Assignment
    editions: tuple[Edition, ...]
    host: PluginHost
    catalogue: Catalogue

    def run(self) -> Inspection:
        task = self.assignment
        frames = {k: f.filter(pl.col("at") <= task.as_of) for k, f in task.frames.items()}
        history = History.of_records(frames, task.register)
        parts = [_EMPTY, *self._parts(history)]
        total = sum(frame.height for frame in task.frames.values())
        return Inspection(
            task,
            self.editions,
            self.host.plugins,
            summed([part.coverage for part in parts], self.editions),
            findings.in_order(pl.concat([part.findings for part in parts])),
            due.in_order(pl.concat([part.due for part in parts])),
            used=history.count(),
            later=total - history.count(),
        )

    def _parts(self, history: History) -> Iterator["_Part"]:
        """Judge tanks block by block, then what belongs to no tank."""
        batches = _batches(requirements_of(self.editions, self.assignment.register.zone))
        in_blocks = [batch for batch in batches if is_judged_in_blocks(batch[0].subject)]
        for block in history.blocks(self.assignment.blocks):
            past = self._past(block)
            yield from (self._part(batch, past) for batch in in_blocks)
        past = self._past(history)
        yield from (self._part(batch, past) for batch in batches if batch not in in_blocks)

    def _past(self, history: History) -> Past:
        complete = not self.host.wall.failures
        return Past(history, self.host.models, self.assignment.as_of, complete)

    def _part(self, batch: Sequence[Requirement], past: Past) -> "_Part":
        task = self.assignment
        judged = judge(batch, past, self.catalogue, by_day=task.period is not None)
        told = findings_of(judged, Telling(past, self.catalogue, self._troubles()))
        zone = past.register.zone
        if task.period is None:
            soon = due_of(judged, self.catalogue, task.as_of, zone)
            return _Part(coverage_of(judged), told, soon)
        first, after = task.period.instants(zone)
        within = (pl.col("until") >= first) & (pl.col("since") < after)
        return _Part(coverage_of(judged, first, after), told.filter(within), _EMPTY.due)

    def _troubles(self) -> dict[str, str]:
        """Return why facts are missing, for every fact that no rule could be given."""
        failed = [p for p in self.host.plugins if p.state == "failed"]
        text = " ".join(f"Plugin '{p.name}' failed ({p.reason})." for p in failed)
        known = {n for group in self.catalogue.groups for n in (f.name for f in group.facts)}
        named = {n for e in self.editions for rule in e.rules for n in rule.needs}
        asked = {f.name for g in self.catalogue.groups if g.asks_models for f in g.facts}
        return dict.fromkeys((named - known) | asked, text) if failed else {}


@dataclass(frozen=True)
class _Part:
    """What judging one kind of subject in one block came to."""

    coverage: pl.DataFrame
    findings: pl.DataFrame
    due: pl.DataFrame


_EMPTY = _Part(
    pl.DataFrame(schema=COVERAGE),
    pl.DataFrame(schema=findings.SCHEMA),
    pl.DataFrame(schema=due.SCHEMA),
)


def _batches(requirements: Iterable[Requirement]) -> list[list[Requirement]]:
    """Return requirements that can be judged together: same subject, same time to fulfil."""

    def together(one: Requirement) -> tuple[str, float]:
        return one.subject, one.within.total_seconds() if one.within else -1.0

    return [list(batch) for _, batch in groupby(sorted(requirements, key=together), key=together)]
