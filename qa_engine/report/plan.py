"""What a forecast's report holds: the forecast, and what follows from it for the coming weeks."""

from dataclasses import dataclass, field, replace

import polars as pl

from qa_engine.forecast.calendar import CALENDAR
from qa_engine.forecast.jobs import Bookings
from qa_engine.forecast.outcome import Forecast
from qa_engine.forecast.stock import Stock
from qa_engine.report.outcome import INCOMPLETE, NONE_FAILS, Tally


@dataclass(frozen=True)
class Plan:
    """A forecast with what follows from it.

    Attributes:
        operator: whose fleet it is.
        forecast: of the tanks.
        stock: the resin to have.
        calendar: what can be done together, as ``calendar_of`` returns it.
        bookings: what becomes of the booked jobs; None if none were given.
        tally: what became of the records that were read.
        complete: whether every plugin worked.
    """

    operator: str
    forecast: Forecast
    stock: Stock
    calendar: pl.DataFrame = field(default_factory=lambda: pl.DataFrame(schema=CALENDAR))
    bookings: Bookings | None = None
    tally: Tally = field(default_factory=Tally)
    complete: bool = True

    @property
    def exit_status(self) -> int:
        """Return 3 if something is missing that should have been counted in, else 0."""
        whole = self.complete and not self.tally.refused and not self.forecast.tanks.is_empty()
        return NONE_FAILS if whole else INCOMPLETE

    def with_bookings(self, bookings: Bookings) -> "Plan":
        """Return the plan with what becomes of the booked jobs."""
        return replace(self, bookings=bookings)
