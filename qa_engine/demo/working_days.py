"""When the vans work: Monday to Friday, but for the winter closure and stand-downs."""

from dataclasses import dataclass
from datetime import date, timedelta

from qa_engine.demo.fleet import FIRST_DAY, LAST_DAY, VANS

SATURDAY = 5


@dataclass(frozen=True)
class StandDown:
    """Days on which a van does not work, and why; both ends included."""

    van: str
    first: date
    last: date
    reason: str


STAND_DOWNS = (
    *(StandDown(van.van, date(2025, 12, 24), date(2026, 1, 1), "winter closure") for van in VANS),
    StandDown("Rill", date(2025, 11, 10), date(2025, 11, 21), "gearbox at the workshop"),
)

DAYS = tuple(FIRST_DAY + timedelta(days=n) for n in range((LAST_DAY - FIRST_DAY).days + 1))
"""Every day of the demo."""


def works(van: str, day: date) -> bool:
    """Tell whether a van works on a day."""
    stood_down = any(s.van == van and s.first <= day <= s.last for s in STAND_DOWNS)
    return day.weekday() < SATURDAY and not stood_down


def next_working_day(van: str, day: date) -> date:
    """Return the first day after this one on which a van works."""
    following = day + timedelta(days=1)
    while not works(van, following):
        following += timedelta(days=1)
    return following
