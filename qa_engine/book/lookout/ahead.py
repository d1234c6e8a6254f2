"""How the tanks stand and what lies ahead of them, reckoned when somebody asks."""

from dataclasses import replace
from threading import Lock

import polars as pl

from qa_engine.book.lookout.kept import Kept
from qa_engine.book.lookout.reach import around_tanks, wanted_tanks
from qa_engine.book.lookout.state import Ahead
from qa_engine.book.tanks import tanks_as_of
from qa_engine.forecast.forecasting import Wish, forecast_by
from qa_engine.forecast.merging import merged
from qa_engine.inspection import Course

AHEAD = Wish(days=90)
FORETOLD = ("limit", "reached_low", "reached_median", "reached_high", "change_by", "why_not")


class AheadKept:
    """How the tanks stand as of one look; of most it is known from the look before.

    Args:
        course: the rules and plugins that work, as of the instant of the look.
        kept: the records.
        tanks: of which it is to be reckoned anew; None for all.
        before: how they all stood before.
    """

    def __init__(
        self,
        course: Course,
        kept: Kept,
        tanks: frozenset[str] | None = None,
        before: Ahead | None = None,
    ) -> None:
        self._course, self._kept = course, kept
        self._tanks, self._before = tanks, before
        self._found: Ahead | None = None
        self._lock = Lock()

    def now(self) -> Ahead:
        """Return how the tanks stand."""
        with self._lock:
            if self._found is None:
                self._found = self._reckoned()
            return self._found

    def anew(self, course: Course, kept: Kept, tanks: frozenset[str]) -> "AheadKept":
        """Return how they stand after a later look that concerned some tanks."""
        if self._found is not None:
            return AheadKept(course, kept, tanks, self._found)
        both = None if self._tanks is None else self._tanks | tanks
        return AheadKept(course, kept, both, self._before)

    def _reckoned(self) -> Ahead:
        if self._tanks is None or self._before is None:
            return _ahead(self._course)
        if not self._tanks:
            return self._before
        register = self._course.assignment.register
        task = replace(
            self._course.assignment,
            frames=around_tanks(self._kept, self._tanks, register),
            register=wanted_tanks(register, self._tanks),
        )
        now = _ahead(replace(self._course, assignment=task))
        tanks = now.tanks.filter(pl.col("tank").is_in(list(self._tanks)))
        others = self._before.tanks.join(tanks, on="tank", how="anti")
        forecast = merged(
            self._before.forecast, now.forecast, self._tanks, self._course.host.plugins
        )
        return Ahead(forecast, pl.concat([others, tanks]).sort("tank"))


def _ahead(course: Course) -> Ahead:
    foretold = forecast_by(course, AHEAD)
    tanks = tanks_as_of(course.past(course.history), course.catalogue)
    tanks = tanks.join(foretold.tanks.select("tank", *FORETOLD), on="tank", how="left")
    return Ahead(foretold, tanks)
