"""Visits: days on which a place is seen to, so that what falls due near together is done at once.

Nothing is put later than its last day. A resin change is brought forward by a few days at most,
since that gives up resin, and other work by some weeks. What concerns a tank goes with the change
of its resin where it can, since the tank is opened then anyway.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

from qa_engine.forecast.work import Work

CHANGE_EARLIER = 7
"""By how many days a resin change is brought forward at most; common practice, no source [d]."""

REST_EARLIER = 28
"""By how many days other work is brought forward at most; common practice, no source [d]."""


@dataclass
class Visit:
    """A day on which a place is seen to, and the work of it."""

    day: date
    work: list[Work] = field(default_factory=list)

    def changes_resin_of(self, tank: str | None) -> bool:
        """Tell whether the resin of a tank is changed then."""
        return any(one.is_resin_change and one.tank == tank for one in self.work)

    def earliest(self) -> date:
        """Return the earliest day to which all of its work may be brought forward."""
        return max(_earliest(one) for one in self.work)

    def add(self, work: Work) -> None:
        """Take in a piece of work; the visit is no later than that allows."""
        self.day = min(self.day, work.by)
        self.work.append(work)


def _earliest(work: Work) -> date:
    return work.by - timedelta(days=CHANGE_EARLIER if work.is_resin_change else REST_EARLIER)


def visits_of(work: Iterable[Work]) -> list[Visit]:
    """Return the visits that the work of one place is done in, in the order of their days."""
    visits: list[Visit] = []
    for one in sorted(work, key=lambda one: (not one.is_resin_change, one.order)):
        visit = _joined(one, visits)
        if visit is None:
            visits.append(visit := Visit(one.by))
        visit.add(one)
    return sorted(visits, key=lambda visit: visit.day)


def _joined(work: Work, visits: Sequence[Visit]) -> Visit | None:
    """Return the visit that a piece of work is best done in, None for one of its own.

    It is that of its tank's resin change, else the latest one that is in time, else the first one
    that can be brought forward.
    """
    fitting = [v for v in visits if v.day >= _earliest(work) and v.earliest() <= work.by]
    own = [v for v in fitting if work.tank and v.changes_resin_of(work.tank)]
    in_time = [visit for visit in own or fitting if visit.day <= work.by]
    if in_time:
        return max(in_time, key=lambda visit: visit.day)
    return min(own or fitting, key=lambda visit: visit.day, default=None)
