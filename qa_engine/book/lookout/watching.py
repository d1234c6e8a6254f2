"""Watching a record book: inspected whole once a day, and anew where something comes in."""

from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import datetime
from importlib.metadata import EntryPoint
from threading import RLock
from zoneinfo import ZoneInfo

import polars as pl

from qa_engine.book.house import permissions_in
from qa_engine.book.lookout.ahead import AheadKept
from qa_engine.book.lookout.found import Found
from qa_engine.book.lookout.kept import PLACES, Frames, Kept
from qa_engine.book.lookout.reach import around_others, around_tanks, reach_of
from qa_engine.book.lookout.rejudging import joined, judged_anew
from qa_engine.book.lookout.remembering import remember
from qa_engine.book.lookout.state import FleetState
from qa_engine.book.store import Book
from qa_engine.errors import BookError
from qa_engine.explanation import Explained, explain_finding
from qa_engine.inspection import Assignment, Course, Inspection, with_what_works
from qa_engine.plugin_host import PluginHost
from qa_engine.register import Register
from qa_engine.subjects import item_of

RuleSources = Iterable[tuple[str, bytes]]

SETTLES = frozenset({"register", "rule_set", "permission"})
"""Kinds of entry that bear on the verdicts on everything."""

MANY = 2_000
"""From so many new records on, inspecting everything is no slower than finding out what they
reach."""


@dataclass(frozen=True)
class _Look:
    """What one look at a book found.

    Attributes:
        course: the rules and plugins that work, as of the instant of the look.
        kept: the records.
        found: what was found, by item.
        ahead: how the tanks stand.
        state: what pages are told.
        failed: how many plugins had failed.
    """

    course: Course
    kept: Kept
    found: Found
    ahead: AheadKept
    state: FleetState
    failed: int

    @property
    def works(self) -> bool:
        """Tell whether every plugin that was there at the look still works."""
        return self.failed == len(self.course.host.wall.failures)


class Lookout:
    """Inspects a record book when it has changed, and keeps what was found.

    What came in is judged anew as far as it reaches; everything is when a day begins, or when the
    register, the rules or a permission changed. Within a day, what nothing new was heard of stays
    as of the day's first look.

    Args:
        book: the record book.
        entries: the plugins to load.
        rules: gives the rule files, once it is known which plugins work.
    """

    def __init__(
        self,
        book: Book,
        entries: Iterable[EntryPoint],
        rules: Callable[[PluginHost], RuleSources],
    ) -> None:
        self.book = book
        self._entries = tuple(entries)
        self._rules = rules
        self._look: _Look | None = None
        self._told: Found | None = None
        self._register: tuple[int, Register] | None = None
        self._lock = RLock()

    @property
    def register(self) -> Register:
        """Return the register as the book has it now."""
        size = self.book.size()
        if self._register is None or self._register[0] != size:
            self._register = (size, self.book.register())
        return self._register[1]

    @property
    def zone(self) -> ZoneInfo:
        """Return the operator's time zone."""
        return self.register.zone

    def state(self, as_of: datetime) -> FleetState:
        """Return what the rules say as of an instant, judging anew what may have changed."""
        with self._lock:
            self._look = self._looked(as_of)
            self._remember(self._look)
            return self._look.state

    def _remember(self, look: _Look) -> None:
        """Write down in the book what came and went; a book that cannot be written stays as it is.

        What was found does not depend on it, and the next look makes up for it.
        """
        told, found = self._told, look.found
        if told is found:
            return
        before = None if told is None else told.findings_besides(found)
        now = found.whole().findings if told is None else found.findings_besides(told)
        with suppress(BookError):
            remember(self.book, before, now, look.state.entries, look.state.as_of)
            self._told = found

    def _looked(self, as_of: datetime) -> _Look:
        look, size = self._look, self.book.size()
        if (
            look is None
            or not look.works
            or not _same_day(look.state.as_of, as_of, look.state.register.zone)
        ):
            return self._whole(as_of)
        # Of two that ask at once the later clock may come first; what was known stays known.
        as_of = max(as_of, look.state.as_of)
        if look.state.entries == size and not look.kept.later(look.state.as_of, as_of):
            return look
        arrived = self.book.arrived(look.state.entries)
        many = sum(frame.height for frame in arrived.records.values()) > MANY
        if many or not SETTLES.isdisjoint(arrived.kinds):
            return self._whole(as_of)
        anew = _with(look, arrived.records, as_of, arrived.size)
        return anew if anew.works else self._whole(as_of)

    def explained(self, finding: str, state: FleetState) -> Explained:
        """Return why a finding of a state is one, judged anew by itself.

        Raises:
            ExplanationError: the state has no such rule or subject.
        """
        task = state.inspection.assignment
        found = state.findings.filter(pl.col("finding") == finding)
        if found.height:
            row = found.row(0, named=True)
            frames = _around(row["subject_kind"], row["item"], task)
            task = replace(task, frames=frames)
        return explain_finding(finding, task, self._entries, self._rules)

    def _whole(self, as_of: datetime) -> _Look:
        size = self.book.size()
        kept = Kept.of(self.book.frames(entered=True))
        permissions = permissions_in(self.book)
        assignment = Assignment(kept, self.book.register(), as_of, permissions=permissions)

        def work(course: Course) -> _Look:
            course = replace(course, by_item=True)
            nothing = course.nothing()
            found = Found.of(joined([nothing, *course.parts()]), nothing)
            return _look(course, kept, found, AheadKept(course, kept), size)

        return with_what_works(assignment, self._entries, self._rules, work)


def _look(course: Course, kept: Kept, found: Found, ahead: AheadKept, size: int) -> _Look:
    task = course.assignment

    def tell() -> Inspection:
        later = sum(frame.height for frame in kept.later(task.as_of).values())
        return course.inspection_of([found.whole()], kept.count() - later, later)

    state = FleetState(task.as_of, size, task.register, kept, tell, ahead.now)
    return _Look(course, kept, found, ahead, state, len(course.host.wall.failures))


def _with(look: _Look, arrived: Frames, as_of: datetime, size: int) -> _Look:
    """Return a look with what came in, and what its instant has come for since."""
    kept, before = look.kept, look.state.as_of
    due = kept.later(before, as_of)
    task = replace(look.course.assignment, as_of=as_of)
    course = replace(look.course, assignment=task)
    if not arrived and not due:
        return _look(course, kept, look.found, look.ahead, size)
    replaced = kept.replaced_by(arrived)
    reach = reach_of(replaced, (arrived, due), kept, task.register)
    kept = kept.taking(arrived)
    course = replace(course, assignment=replace(task, frames=kept))
    anew = judged_anew(course, kept, reach)
    ahead = look.ahead.anew(course, kept, reach.items["tank"])
    return _look(course, kept, look.found.taking(anew), ahead, size)


def _around(kind: str, item: str | None, task: Assignment) -> Frames:
    """Return the records that a verdict on a subject of an item may rest on."""
    kept = task.frames
    column = item_of(kind)
    if not isinstance(kept, Kept) or item is None or column == "base":
        return kept
    if column == "tank":
        return around_tanks(kept, frozenset({item}), task.register)
    nothing = dict.fromkeys(PLACES, frozenset[str]())
    return around_others(kept, {**nothing, column: frozenset({item})}, task.register)


def _same_day(one: datetime, other: datetime, zone: ZoneInfo) -> bool:
    return one.astimezone(zone).date() == other.astimezone(zone).date()
