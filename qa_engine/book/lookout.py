"""The lookout: keeps up to date what the rules say of a record book."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime
from importlib.metadata import EntryPoint
from threading import Lock
from zoneinfo import ZoneInfo

import polars as pl

from qa_engine.book.house import permissions_in
from qa_engine.book.store import Book
from qa_engine.book.tanks import tanks_as_of
from qa_engine.explanation import Explained, explain_finding
from qa_engine.forecast.forecasting import Wish, forecast_by
from qa_engine.forecast.outcome import Forecast
from qa_engine.inspection import Assignment, Course, Inspection, with_what_works
from qa_engine.plugin_host import PluginHost
from qa_engine.register import Register
from qa_engine.rulesets import Edition

RuleSources = Iterable[tuple[str, bytes]]
AHEAD = Wish(days=90)
FORETOLD = ("limit", "reached_low", "reached_median", "reached_high", "change_by", "why_not")


@dataclass(frozen=True)
class FleetState:
    """What the rules say of a record book as of an instant.

    Attributes:
        as_of: the instant.
        entries: how many entries of the book it rests on.
        inspection: what was found.
        forecast: when tanks will reach their limits.
        tanks: a row per tank: the columns of ``tanks_as_of``, and ``FORETOLD`` of the forecast.
    """

    as_of: datetime
    entries: int
    inspection: Inspection
    forecast: Forecast
    tanks: pl.DataFrame

    @property
    def records(self) -> int:
        """Return how many records were judged."""
        return self.inspection.used

    @property
    def register(self) -> Register:
        """Return the register that it was judged by."""
        return self.inspection.assignment.register

    @property
    def findings(self) -> pl.DataFrame:
        """Return the findings, as ``qa_engine.findings.SCHEMA``, in order."""
        return self.inspection.findings

    @property
    def due(self) -> pl.DataFrame:
        """Return what falls due, as ``qa_engine.due.SCHEMA``, in order."""
        return self.inspection.due

    @property
    def coverage(self) -> pl.DataFrame:
        """Return a row per rule and edition with the count of each outcome."""
        return self.inspection.coverage

    @property
    def editions(self) -> tuple[Edition, ...]:
        """Return the editions that judged."""
        return self.inspection.editions


class Lookout:
    """Inspects a record book when it has changed, and keeps what was found.

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
        self._kept: FleetState | None = None
        self._register: tuple[int, Register] | None = None
        self._lock = Lock()

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
        """Return what the rules say as of an instant, from the kept findings where they hold."""
        with self._lock:
            size = self.book.size()
            kept = self._kept
            if kept is None or kept.entries != size or not _same_day(kept.as_of, as_of, self.zone):
                kept = self._inspected(as_of, size)
            self._kept = kept
            return kept

    def explained(self, finding: str, state: FleetState) -> Explained:
        """Return why a finding of a state is one, judged anew by itself.

        Raises:
            ExplanationError: the state has no such rule or subject.
        """
        task = state.inspection.assignment
        return explain_finding(finding, task, self._entries, self._rules)

    def _inspected(self, as_of: datetime, size: int) -> FleetState:
        assignment = Assignment(
            self.book.frames(entered=True),
            self.register,
            as_of,
            permissions=permissions_in(self.book),
        )
        return with_what_works(
            assignment, self._entries, self._rules, lambda course: _stood(course, size)
        )


def _stood(course: Course, size: int) -> FleetState:
    inspection, ahead = course.run(), forecast_by(course, AHEAD)
    tanks = tanks_as_of(course.past(course.history), course.catalogue)
    tanks = tanks.join(ahead.tanks.select("tank", *FORETOLD), on="tank", how="left")
    return FleetState(course.assignment.as_of, size, inspection, ahead, tanks)


def _same_day(one: datetime, other: datetime, zone: ZoneInfo) -> bool:
    return one.astimezone(zone).date() == other.astimezone(zone).date()
