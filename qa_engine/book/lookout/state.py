"""What the rules say of a record book as of an instant."""

from collections.abc import Callable, Hashable
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property
from typing import Any, TypeVar

import polars as pl

from qa_engine.book.lookout.kept import Kept
from qa_engine.forecast.outcome import Forecast
from qa_engine.inspection import Inspection
from qa_engine.register import Register
from qa_engine.rulesets import Edition

Made = TypeVar("Made")

MOST_MADE = 2_000
"""So many things that are made of a state are kept; then the one made first goes."""


@dataclass(frozen=True)
class Ahead:
    """How the tanks stand and what lies ahead of them.

    Attributes:
        forecast: when tanks will reach their limits.
        tanks: a row per tank: the columns of ``tanks_as_of``, and some of the forecast.
    """

    forecast: Forecast
    tanks: pl.DataFrame


@dataclass(frozen=True)
class FleetState:
    """What the rules say of a record book as of an instant.

    Attributes:
        as_of: the instant of the latest look; what nothing new was heard of is judged as of the
            first look of the day.
        entries: how many entries of the book it rests on.
        register: the register that it was judged by.
        kept: the records, those of later on among them.
        tell: puts together what was found; asked when that is wanted.
        look_ahead: finds how the tanks stand; asked when that is wanted.
    """

    as_of: datetime
    entries: int
    register: Register
    kept: Kept = field(repr=False, compare=False)
    tell: Callable[[], Inspection] = field(repr=False, compare=False)
    look_ahead: Callable[[], Ahead] = field(repr=False, compare=False)
    _made: dict[Hashable, Any] = field(default_factory=dict, init=False, repr=False, compare=False)

    def once(self, name: Hashable, make: Callable[[], Made]) -> Made:
        """Return what somebody makes of this state, made but once.

        Args:
            name: what it is; whoever asks by the same name gets the same.
            make: makes it, if nobody has.
        """
        if name in self._made:
            known: Made = self._made[name]
            return known
        made = make()
        if len(self._made) >= MOST_MADE:
            self._made.pop(next(iter(self._made)), None)
        self._made[name] = made
        return made

    @cached_property
    def inspection(self) -> Inspection:
        """Return what was found."""
        return self.tell()

    @property
    def forecast(self) -> Forecast:
        """Return when tanks will reach their limits."""
        return self.look_ahead().forecast

    @property
    def tanks(self) -> pl.DataFrame:
        """Return a row per tank: the columns of ``tanks_as_of``, and some of the forecast."""
        return self.look_ahead().tanks

    @property
    def records(self) -> int:
        """Return how many records were judged."""
        return self.inspection.used

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
