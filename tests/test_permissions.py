"""Whether a permission is in force at an instant: to the microsecond, by the operator's clock."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qa_engine.permissions import CONCESSION, DEVIATION_PERMIT, Permission, in_force

TICK = timedelta(microseconds=1)
LONG_AGO = date(2000, 1, 1)


def permission(begins, until, *, type=DEVIATION_PERMIT, approved_on=None, longest_d=90, **more):
    """Return a permission; a deviation permit approved long ago, a concession at its end."""
    approved = approved_on or (LONG_AGO if type == DEVIATION_PERMIT else until)
    told = {
        "permission": "DP-1",
        "type": type,
        "rule_set": "house",
        "rule": None,
        "van": None,
        "tank": None,
        "reason": "Resin is late.",
        "requested_by": "P-07",
        "approved_by": "P-01",
        "requested_on": LONG_AGO,
        "source": "permissions.yaml",
        "line": 1,
        "sha256": "",
    }
    days = {"begins": begins, "until": until, "approved_on": approved, "longest_d": longest_d}
    return Permission(**{**told, **days, **more})


def holds(one, zone, *instants):
    """Tell at which instants a permission is in force."""
    column = pl.Series(instants, dtype=pl.Datetime("us", "UTC"))
    return in_force(one, column, ZoneInfo(zone)).to_list()


def utc(*parts):
    return datetime(*parts, tzinfo=UTC)


@pytest.mark.parametrize(
    ("zone", "last_day", "ends"),
    [
        # 28 March 2026 is the last day of winter time, 29 March has 23 hours and ends in summer
        # time, an hour before midnight UTC; 25 October has 25 hours and ends in winter time.
        ("Europe/London", date(2026, 3, 28), utc(2026, 3, 29, 0)),
        ("Europe/London", date(2026, 3, 29), utc(2026, 3, 29, 23)),
        ("Europe/London", date(2026, 10, 24), utc(2026, 10, 24, 23)),
        ("Europe/London", date(2026, 10, 25), utc(2026, 10, 26, 0)),
        # The Azores skip from 00:00 (an hour behind UTC) to 01:00 at 01:00 UTC on 29 March, and
        # go back from 01:00 to 00:00 at 01:00 UTC on 25 October, so that midnight comes twice.
        ("Atlantic/Azores", date(2026, 3, 28), utc(2026, 3, 29, 1)),
        ("Atlantic/Azores", date(2026, 3, 29), utc(2026, 3, 30, 0)),
        ("Atlantic/Azores", date(2026, 10, 24), utc(2026, 10, 25, 0)),
        ("Atlantic/Azores", date(2026, 10, 25), utc(2026, 10, 26, 1)),
        # Sao Paulo skipped from 00:00 (three hours behind) to 01:00 at 03:00 UTC on 4 November
        # 2018, and went back from midnight to 23:00 of 17 February 2018.
        ("America/Sao_Paulo", date(2018, 11, 3), utc(2018, 11, 4, 3)),
        ("America/Sao_Paulo", date(2018, 11, 4), utc(2018, 11, 5, 2)),
        ("America/Sao_Paulo", date(2018, 2, 17), utc(2018, 2, 18, 3)),
        # Samoa left 30 December 2011 out: 29 December, ten hours behind, was followed by the 31st.
        ("Pacific/Apia", date(2011, 12, 29), utc(2011, 12, 30, 10)),
        ("Pacific/Apia", date(2011, 12, 30), utc(2011, 12, 30, 10)),
        ("Pacific/Apia", date(2011, 12, 31), utc(2011, 12, 31, 10)),
    ],
)
def test_a_last_day_holds_to_its_end_and_not_a_microsecond_longer(zone, last_day, ends):
    for type_ in (DEVIATION_PERMIT, CONCESSION):
        one = permission(last_day - timedelta(days=7), last_day, type=type_)
        assert holds(one, zone, ends - TICK, ends) == [True, False]


@pytest.mark.parametrize(
    ("zone", "first_day", "begins"),
    [
        ("Europe/London", date(2026, 3, 29), utc(2026, 3, 29, 0)),
        ("Europe/London", date(2026, 3, 30), utc(2026, 3, 29, 23)),
        ("Atlantic/Azores", date(2026, 3, 29), utc(2026, 3, 29, 1)),
        ("Atlantic/Azores", date(2026, 10, 25), utc(2026, 10, 25, 0)),
        ("America/Sao_Paulo", date(2018, 11, 4), utc(2018, 11, 4, 3)),
    ],
)
def test_a_first_day_holds_from_its_beginning(zone, first_day, begins):
    one = permission(first_day, first_day + timedelta(days=7))
    assert holds(one, zone, begins - TICK, begins) == [False, True]


ZONES = (
    "UTC", "Europe/London", "Atlantic/Azores", "America/Sao_Paulo", "America/Havana",
    "Asia/Beirut", "Africa/Cairo", "Australia/Lord_Howe", "Asia/Kathmandu", "Pacific/Apia",
)  # fmt: skip


def begins_of(day, zone):
    """Return the first instant whose date in a zone is ``day`` or later, by bisection."""
    low, high = (utc(day.year, day.month, day.day) + timedelta(days=n) for n in (-2, 2))
    while high - low > TICK:
        middle = low + (high - low) // 2
        low, high = (low, middle) if middle.astimezone(zone).date() >= day else (middle, high)
    return high


@settings(deadline=None, max_examples=200)
@given(
    st.sampled_from(ZONES),
    st.dates(date(2010, 1, 1), date(2030, 12, 31)),
    st.integers(0, 89),
    st.integers(-2, 2),
)
def test_days_hold_exactly_while_the_operators_clock_shows_their_dates(zone, first, more, ticks):
    """The dates are read off the clock, the boundaries found by bisection, not by the engine."""
    last = first + timedelta(days=more)
    near = [first, last, last + timedelta(days=1)]
    instants = [begins_of(day, ZoneInfo(zone)) + ticks * TICK for day in near]
    shown = [first <= t.astimezone(ZoneInfo(zone)).date() <= last for t in instants]
    assert holds(permission(first, last), zone, *instants) == shown


def test_an_instant_as_the_end_holds_at_that_instant_and_no_longer():
    until = datetime.fromisoformat("2026-05-12T18:00:00+01:00")
    one = permission(date(2026, 5, 1), until)
    assert holds(one, "UTC", utc(2026, 5, 12, 17), utc(2026, 5, 12, 17) + TICK) == [True, False]


def test_a_deviation_permit_covers_nothing_before_its_approval():
    """A day of approval counts whole; an instant counts from that instant."""
    whole = permission(date(2026, 5, 1), date(2026, 5, 9), approved_on=date(2026, 5, 4))
    assert holds(whole, "UTC", utc(2026, 5, 4) - TICK, utc(2026, 5, 4)) == [False, True]
    noon = permission(date(2026, 5, 1), date(2026, 5, 9), approved_on=utc(2026, 5, 4, 12))
    assert holds(noon, "UTC", utc(2026, 5, 4, 12) - TICK, utc(2026, 5, 4, 12)) == [False, True]


def test_a_concession_covers_nothing_after_its_approval():
    days = {"type": CONCESSION, "begins": date(2026, 5, 1), "until": date(2026, 5, 9)}
    whole = permission(**days, approved_on=date(2026, 5, 4))
    assert holds(whole, "UTC", utc(2026, 5, 5) - TICK, utc(2026, 5, 5)) == [True, False]
    noon = permission(**days, approved_on=utc(2026, 5, 4, 12))
    assert holds(noon, "UTC", utc(2026, 5, 4, 12), utc(2026, 5, 4, 12) + TICK) == [True, False]
    later = permission(**days, approved_on=date(2026, 6, 1))
    assert holds(later, "UTC", utc(2026, 5, 10) - TICK, utc(2026, 5, 10)) == [True, False]


@pytest.mark.parametrize("approver", ["P-07", "p-07"])
def test_who_approves_what_he_asked_for_permits_nothing(approver):
    one = permission(date(2026, 5, 1), date(2026, 5, 9), approved_by=approver)
    assert holds(one, "UTC", utc(2026, 5, 4)) == [False]


@pytest.mark.parametrize(
    ("zone", "first"),
    [
        ("UTC", date(2026, 5, 1)),
        ("Europe/London", date(2026, 3, 1)),  # the clocks change in its course
        ("Europe/London", date(2026, 10, 1)),
        ("Atlantic/Azores", date(2026, 3, 29)),  # begins where midnight is skipped
        ("Atlantic/Azores", date(2026, 2, 28)),  # ends there
    ],
)
def test_the_longest_term_may_be_used_up_and_a_day_more_covers_nothing(zone, first):
    """Thirty days from the first are the first and 29 more."""
    middle = utc(first.year, first.month, first.day) + timedelta(days=5)
    for days, good in [(29, True), (30, False)]:
        one = permission(first, first + timedelta(days=days), longest_d=30)
        assert holds(one, zone, middle) == [good]


def test_a_term_between_instants_is_counted_on_the_calendar():
    """From 08:00 to 08:00 across the change of the clocks: 30 days, though an hour less by UTC."""
    london = ZoneInfo("Europe/London")
    begins = datetime(2026, 3, 10, 8, tzinfo=london)
    ends = datetime(2026, 4, 9, 8, tzinfo=london)
    fits = permission(begins, ends, longest_d=30)
    over = permission(begins, ends + TICK, longest_d=30)
    assert holds(fits, "Europe/London", ends.astimezone(UTC)) == [True]
    assert holds(over, "Europe/London", ends.astimezone(UTC)) == [False]


def test_at_a_missing_instant_nothing_is_in_force():
    assert holds(permission(date(2026, 5, 1), date(2026, 5, 9)), "UTC", None) == [False]
