"""Days elapsed and days of the calendar, where clocks change and zones differ."""

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import polars as pl

from qa_engine.facts.days import days_since, days_until, local_day, local_days


def instants(*written):
    moments = [datetime.fromisoformat(one).replace(tzinfo=UTC) for one in written]
    return pl.Series("at", moments, pl.Datetime("us", "UTC"))


def test_days_since_are_days_of_24_hours_and_null_where_there_is_no_start():
    at = instants("2026-03-02T18:00", "2026-03-02")
    then = pl.Series([datetime(2026, 3, 1, tzinfo=UTC), None], dtype=at.dtype)
    assert days_since(at, then).to_list() == [1.75, None]


def test_a_day_of_the_calendar_begins_at_the_midnight_of_its_zone():
    at = instants("2026-03-28T22:59", "2026-03-28T23:00", "2026-03-29T22:00")
    # Berlin: 23:59, then midnight; a day of 23 hours later it is midnight again.
    days = local_day(at, ZoneInfo("Europe/Berlin")).to_list()
    assert days == [date(2026, 3, 28), date(2026, 3, 29), date(2026, 3, 30)]


def test_each_instant_is_read_by_its_own_clock():
    at = instants("2026-03-01T20:00", "2026-03-01T20:00", "2026-03-01T20:00")
    zones = pl.Series(["Asia/Tokyo", "America/New_York", None])
    assert local_days(at, zones).to_list() == [date(2026, 3, 2), date(2026, 3, 1), None]


def test_no_instants_give_no_days():
    assert local_days(instants(), pl.Series([], dtype=pl.String)).to_list() == []


def test_days_until_a_day_are_whole_and_zero_on_the_day_itself():
    day = pl.Series([date(2026, 4, 1), date(2026, 4, 1), None])
    today = pl.Series([date(2026, 3, 31), date(2026, 4, 3), date(2026, 4, 1)])
    assert days_until(day, today).to_list() == [1.0, -2.0, None]
