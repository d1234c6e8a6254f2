"""What follows from a forecast, as text: booked jobs, resin to have, and what to do together."""

from collections.abc import Iterator

from rich.console import RenderableType
from rich.text import Text

from qa_engine.report.plan import Plan
from qa_engine.report.plan_jobs import jobs_section
from qa_engine.report.plan_stock import stock_section
from qa_engine.report.plan_visits import visits_section


def follow_up(plan: Plan) -> Iterator[RenderableType]:
    """Yield the sections on jobs, resin and work to be done together."""
    if plan.bookings is not None:
        yield from _section("Booked jobs", jobs_section(plan.bookings))
    yield from _section("Resin to have", stock_section(plan.stock))
    yield from _section("To be done together", visits_section(plan.calendar))


def _section(title: str, body: Iterator[RenderableType]) -> Iterator[RenderableType]:
    lines = list(body)
    if lines:
        yield Text(f"\n{title}", style="bold underline")
        yield from lines
