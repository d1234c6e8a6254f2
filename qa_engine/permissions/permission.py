"""A permission, and the one place that says whether it is in force at an instant.

A day stands for the whole of it by the operator's clock: it begins when its date first shows and
ends when the next one does, also where the clocks skip midnight. Moments are inclusive: a
permission until an instant holds at that instant and not a microsecond later.
"""

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import polars as pl

from qa_engine.register import day_start

CONCESSION = "concession"
DEVIATION_PERMIT = "deviation permit"

Moment = date | datetime
"""A whole day of the operator's, or an instant."""

TICK = timedelta(microseconds=1)
"""The shortest time that records and permissions can tell apart."""


@dataclass(frozen=True)
class Permission:
    """Leave not to meet a requirement, for a time.

    Attributes:
        permission: its id.
        type: ``CONCESSION`` (after the event) or ``DEVIATION_PERMIT`` (before it).
        rule_set: the rule set it is about.
        rule: the rule, None for every rule of the set.
        van, tank: where it holds; None for everywhere.
        reason: why it was given.
        requested_by, approved_by: ids of two persons.
        requested_on, approved_on: when each spoke.
        begins, until: first and last moment for which it was given.
        longest_d: the longest term that the operator lets a permission have [days].
        source, line: where it is written.
        sha256: digest of the file it is written in.
    """

    permission: str
    type: str
    rule_set: str
    rule: str | None
    van: str | None
    tank: str | None
    reason: str
    requested_by: str
    approved_by: str
    requested_on: Moment
    approved_on: Moment
    begins: Moment
    until: Moment
    longest_d: int
    source: str
    line: int
    sha256: str

    @property
    def about(self) -> str:
        """Return what it is about as the operator wrote it: ``set/rule``, or the set."""
        return f"{self.rule_set}/{self.rule}" if self.rule else self.rule_set

    @property
    def is_self_approved(self) -> bool:
        """Tell whether one person both asked for it and approved it."""
        return self.requested_by.casefold() == self.approved_by.casefold()

    def concerns(self, rule_set: str, rule: str) -> bool:
        """Tell whether it is about a rule."""
        return self.rule_set == rule_set and self.rule in (None, rule)


def starts(moment: Moment, zone: ZoneInfo) -> datetime:
    """Return the first instant of a moment, in UTC."""
    return moment.astimezone(UTC) if isinstance(moment, datetime) else day_start(moment, zone)


def follows(moment: Moment, zone: ZoneInfo) -> datetime:
    """Return the first instant after a moment, in UTC."""
    if isinstance(moment, datetime):
        return moment.astimezone(UTC) + TICK
    return day_start(moment + timedelta(days=1), zone)


def span(permission: Permission, zone: ZoneInfo) -> tuple[datetime, datetime]:
    """Return the first instant that a permission covers and the first that it no longer does.

    A deviation permit covers nothing before its approval, a concession nothing after it. Where
    the second is not later than the first, it covers nothing.
    """
    first, after = starts(permission.begins, zone), follows(permission.until, zone)
    if permission.type == DEVIATION_PERMIT:
        return max(first, starts(permission.approved_on, zone)), after
    return first, min(after, follows(permission.approved_on, zone))


def is_too_long(permission: Permission, zone: ZoneInfo) -> bool:
    """Tell whether a permission was given for longer than the operator lets any be.

    Days are counted on the calendar, so that a change of the clocks makes none longer.
    """
    first = starts(permission.begins, zone).astimezone(zone)
    latest = (first + timedelta(days=permission.longest_d)).astimezone(UTC)
    return follows(permission.until, zone) - TICK > latest


def is_void(permission: Permission, zone: ZoneInfo) -> bool:
    """Tell whether a permission covers nothing at any instant, whatever it says."""
    first, after = span(permission, zone)
    return permission.is_self_approved or is_too_long(permission, zone) or after <= first


def in_force(permission: Permission, instants: pl.Series, zone: ZoneInfo) -> pl.Series:
    """Tell at which instants a permission is in force.

    Args:
        permission: the permission.
        instants: instants in UTC; at a missing one nothing is in force.
        zone: the zone in which the operator's days are counted.

    Returns:
        yes or no for each instant.
    """
    if is_void(permission, zone):
        return pl.repeat(False, len(instants), eager=True)
    first, after = span(permission, zone)
    return instants.is_between(first, after, closed="left").fill_null(False)
