"""The outlet of a tank over time, drawn: where its points and lines stand on the page."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from math import floor, log10
from typing import Any

import polars as pl

WIDTH, HEIGHT = 640, 300
LEFT, RIGHT, TOP, BOTTOM = 56, 630, 26, 250
BACK = timedelta(days=120)
AHEAD = timedelta(days=30)
ABOVE = 1.15
"""How much room the picture leaves above its highest value, as a factor."""

MOST_STEPS = 5
RENEWED = ("emptied and refilled", "tank exchanged", "regenerated elsewhere")
"""The changes that begin a new charge; a top-up does not."""

Frames = Mapping[str, pl.DataFrame]
Tick = tuple[float, float]


@dataclass(frozen=True)
class Point:
    """A reading of the outlet: when, how much [mg/L], how it was sampled, and where it stands."""

    at: datetime
    value: float
    sampled: str | None
    x: float
    y: float

    @property
    def counts(self) -> bool:
        """Tell whether it was not said to come from water that stood or came first."""
        return self.sampled in (None, "flowing")


@dataclass(frozen=True)
class Change:
    """A resin change: when, which, and where it stands."""

    at: datetime
    change: str | None
    x: float


@dataclass(frozen=True)
class Chart:
    """A drawing ``WIDTH`` by ``HEIGHT`` of the outlet TDS of a tank.

    Attributes:
        points: the readings, earliest first.
        lines: the corners of a line per charge, through the readings of flowing water.
        changes: the resin changes, earliest first.
        limit: the limit [mg/L] and its height; None if no rule in force sets one.
        reached: from where to where the limit is expected to be reached; None if not foretold.
        levels: values [mg/L] and their heights.
        days: days and where they begin.
        today: where the picture's present stands.
        unread: how many readings state a conductivity only, and are not drawn.
    """

    points: tuple[Point, ...]
    lines: tuple[str, ...]
    changes: tuple[Change, ...]
    limit: Tick | None
    reached: Tick | None
    levels: tuple[Tick, ...]
    days: tuple[tuple[date, float], ...]
    today: float
    unread: int

    width, height = WIDTH, HEIGHT
    left, right, top, bottom = LEFT, RIGHT, TOP, BOTTOM

    @property
    def rows(self) -> list[Point | Change]:
        """Return what is drawn, latest first, for the table that says the same."""
        return sorted((*self.points, *self.changes), key=lambda one: one.at, reverse=True)


@dataclass(frozen=True)
class Scale:
    """From instants and values to places in the drawing."""

    begin: datetime
    end: datetime
    most: float

    def x(self, at: datetime) -> float:
        """Return where an instant stands."""
        share = (at - self.begin) / (self.end - self.begin)
        return round(LEFT + (RIGHT - LEFT) * min(max(share, 0), 1), 1)

    def y(self, value: float) -> float:
        """Return the height of a value."""
        return round(BOTTOM - (BOTTOM - TOP) * value / self.most, 1)


def outlet_chart(frames: Frames, foretold: Mapping[str, Any], as_of: datetime) -> Chart:
    """Return the drawing of a tank's last ``BACK``.

    Args:
        frames: the records of the tank by kind.
        foretold: the tank's row of ``Forecast.tanks``.
        as_of: the present, in the zone in which days are read.
    """
    readings = _recent(frames, "reading", as_of)
    told = [row for row in readings if row.get("outlet_tds") is not None]
    limit = foretold["limit"]
    most = max((*(row["outlet_tds"] for row in told), limit or 0, 1.0)) * ABOVE
    scale = Scale(_begun(as_of), _end(foretold, as_of).astimezone(UTC), most)
    points = tuple(_point(row, scale) for row in told)
    changes = tuple(
        Change(row["at"], row.get("change"), scale.x(row["at"]))
        for row in _recent(frames, "resin_change", as_of)
    )
    return Chart(
        points=points,
        lines=tuple(_lines(points, changes)),
        changes=changes,
        limit=None if limit is None else (limit, scale.y(limit)),
        reached=_reached(foretold, as_of, scale),
        levels=tuple((level, scale.y(level)) for level in _levels(most)),
        days=_days(scale, as_of),
        today=scale.x(as_of),
        unread=sum(1 for row in readings if _by_conductivity_only(row)),
    )


def _begun(as_of: datetime) -> datetime:
    return as_of.astimezone(UTC) - BACK


def _recent(frames: Frames, kind: str, as_of: datetime) -> list[dict[str, Any]]:
    frame = frames.get(kind)
    if frame is None:
        return []
    within = pl.col("at").is_between(pl.lit(_begun(as_of)), pl.lit(as_of.astimezone(UTC)))
    return frame.filter(within).sort("at", "record").to_dicts()


def _point(row: Mapping[str, Any], scale: Scale) -> Point:
    value = row["outlet_tds"]
    return Point(row["at"], value, row.get("sampled"), scale.x(row["at"]), scale.y(value))


def _by_conductivity_only(row: Mapping[str, Any]) -> bool:
    return row.get("outlet_tds") is None and row.get("outlet_conductivity") is not None


def _lines(points: Iterable[Point], changes: Iterable[Change]) -> Iterable[str]:
    """Yield the corners of a line for each charge with two readings or more."""
    drawn = [point for point in points if point.counts]
    ends = [change.at for change in changes if change.change in RENEWED]
    bounds = [datetime.min.replace(tzinfo=UTC), *ends]
    for begin, end in pairwise([*bounds, None]):
        assert begin is not None
        mine = [p for p in drawn if begin <= p.at and (end is None or p.at < end)]
        if len(mine) > 1:
            yield " ".join(f"{point.x},{point.y}" for point in mine)


def _end(foretold: Mapping[str, Any], as_of: datetime) -> datetime:
    """Return the end of the picture: today, or the last day on which the limit is expected."""
    low, high = foretold["reached_low"], foretold["reached_high"]
    if low is None or foretold["at_limit"]:
        return as_of
    last = _begin_of(high or low, as_of) + timedelta(days=2)
    return min(max(last, as_of), as_of + AHEAD)


def _reached(foretold: Mapping[str, Any], as_of: datetime, scale: Scale) -> Tick | None:
    low, high = foretold["reached_low"], foretold["reached_high"]
    if low is None or foretold["at_limit"] or _begin_of(low, as_of) >= scale.end:
        return None
    last = scale.end if high is None else _begin_of(high, as_of) + timedelta(days=1)
    return scale.x(_begin_of(low, as_of)), scale.x(last)


def _begin_of(day: date, as_of: datetime) -> datetime:
    return datetime.combine(day, time(), as_of.tzinfo)


def _levels(most: float) -> list[float]:
    """Return round values from 0 up, at most ``MOST_STEPS`` above it."""
    size = 10.0 ** floor(log10(most / MOST_STEPS))
    step = next(size * n for n in (1, 2, 5, 10) if most / (size * n) <= MOST_STEPS)
    return [round(step * n, 6) for n in range(int(most / step) + 1)]


def _days(scale: Scale, as_of: datetime) -> tuple[tuple[date, float], ...]:
    """Return the first days of the months that the picture shows."""
    first = (as_of - BACK).date().replace(day=1)
    months = (_months_on(first, n) for n in range(1, 7))
    begun = ((month, _begin_of(month, as_of)) for month in months)
    return tuple((month, scale.x(at)) for month, at in begun if at < scale.end)


def _months_on(first: date, count: int) -> date:
    years, months = divmod(first.month - 1 + count, 12)
    return date(first.year + years, months + 1, 1)
