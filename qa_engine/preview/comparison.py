"""The comparison: the dated history judged entirely by old and by new editions."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from importlib.metadata import EntryPoint

import polars as pl

from qa_engine.history import History
from qa_engine.inspection import (
    Assignment,
    Course,
    RuleSources,
    UnknownNames,
    with_what_works,
)
from qa_engine.plugin_host import Plugin, PluginHost
from qa_engine.preview import changes as changed
from qa_engine.preview.adoption import Adoption, adoption_of
from qa_engine.preview.both_sides import judged_by_both
from qa_engine.preview.changes import changes_of
from qa_engine.preview.figures import changes_by_place, window_starts, work_by_place
from qa_engine.preview.work import failing_runs, jobs_of
from qa_engine.rulesets import Edition, read_rule_sets


@dataclass(frozen=True)
class Preview:
    """What adopting new editions would have meant for the history as it was logged.

    Attributes:
        assignment: what was judged, and up to when.
        adoption: the editions and rules compared.
        plugins: every plugin and what became of it.
        changes: as ``qa_engine.preview.changes.SCHEMA``, in order.
        jobs: as ``qa_engine.preview.work.SCHEMA``, in order.
        first: the instant of the first record, None if there is none.
        used: how many records were used.
        later: how many records lie after ``as_of`` and were not used.
        judged: how many subjects were judged by both sides, over all rules.
    """

    assignment: Assignment
    adoption: Adoption
    plugins: tuple[Plugin, ...]
    changes: pl.DataFrame
    jobs: pl.DataFrame
    first: datetime | None
    used: int
    later: int
    judged: int

    @cached_property
    def starts(self) -> dict[str, datetime]:
        """Return the first instant of each window that is counted."""
        return window_starts(self.assignment.as_of, self.assignment.register.zone)

    @cached_property
    def changes_by_place(self) -> pl.DataFrame:
        """Return how often each change happens, by rule, van and tank."""
        return changes_by_place(self.changes, self.starts)

    @cached_property
    def work_by_place(self) -> pl.DataFrame:
        """Return how many jobs either side calls for, by kind of work and thing."""
        return work_by_place(self.jobs, self.starts)

    @property
    def plugins_failed(self) -> bool:
        """Tell whether any plugin failed."""
        return any(plugin.state == "failed" for plugin in self.plugins)


def compare(
    assignment: Assignment,
    entries: Iterable[EntryPoint],
    old: Callable[[PluginHost], RuleSources],
    new: Callable[[PluginHost], RuleSources],
) -> Preview:
    """Return what the history comes to under old and under new editions.

    Events are judged at their own instant and things at the end of each day since the first
    record, all of them by both sides whatever their days of force say.

    Args:
        assignment: what is to be judged; its period is not looked at.
        entries: the plugins to load.
        old: gives the rule files in force, once it is known which plugins work.
        new: gives the rule files to be adopted.

    Raises:
        RuleSetError: a rule file cannot be used.
    """
    return with_what_works(assignment, entries, old, lambda course: _preview(course, new))


def _preview(course: Course, new: Callable[[PluginHost], RuleSources]) -> Preview:
    host = course.host
    task = course.assignment
    adoption = adoption_of(course.editions, _read(new(host), course))
    frames = {k: f.filter(pl.col("at") <= task.as_of) for k, f in task.frames.items()}
    history = History.of_records(frames, task.register)
    changes, runs, judged = [pl.DataFrame(schema=changed.SCHEMA)], [], 0
    for verdicts, _ in judged_by_both(adoption.pairs, history, course):
        changes.append(changes_of(verdicts, course.catalogue))
        runs.append(failing_runs(verdicts))
        judged += verdicts.subjects.height
    total = sum(frame.height for frame in task.frames.values())
    return Preview(
        task,
        adoption,
        host.plugins,
        changed.in_order(pl.concat(changes)),
        jobs_of(runs, history),
        _first(history),
        history.count(),
        total - history.count(),
        judged,
    )


def _read(sources: RuleSources, course: Course) -> tuple[Edition, ...]:
    names: UnknownNames = "undecided" if course.host.wall.failures else "refuse"
    return read_rule_sets(sources, course.catalogue, unknown_names=names)


def _first(history: History) -> datetime | None:
    instants = [frame.select("at") for frame in history.frames.values()]
    return pl.concat(instants)["at"].min() if instants else None  # type: ignore[return-value]
