"""Days as rules count them: time elapsed in days of 24 hours, and days of the calendar."""

from zoneinfo import ZoneInfo

import polars as pl

from qa_engine.history import latest

DAY_US = 24 * 60 * 60 * 1_000_000
"""Microseconds in a day of 24 hours, whatever the clocks of a place do."""


def days_since(at: pl.Series, then: pl.Series) -> pl.Series:
    """Return the time from ``then`` to ``at`` in days, with fractions [d]."""
    return (at - then).dt.total_microseconds() / DAY_US


def age_of_latest(
    subjects: pl.DataFrame, rows: pl.DataFrame, *, by: str, name: str
) -> pl.DataFrame:
    """Return how long ago the latest of some records was, with that record as evidence.

    Args:
        subjects: has ``by`` and ``at``.
        rows: records with ``by``, ``at`` and ``record``.
        by: the column that must be equal, such as ``tank``.
        name: the name of the fact.

    Returns:
        A frame of ``name`` [d] and ``evidence``, row for row beside ``subjects``.
    """
    found = latest(subjects, rows, by=by, take=["at", "record"])
    return found.select(
        days_since(subjects["at"], found["at"]).alias(name), pl.col("record").alias("evidence")
    )


def local_day(at: pl.Series, zone: ZoneInfo) -> pl.Series:
    """Return the day of the calendar that instants fall on in one time zone."""
    return at.dt.convert_time_zone(zone.key).dt.date()


def local_days(at: pl.Series, zones: pl.Series) -> pl.Series:
    """Return the day of the calendar that each instant falls on in its own time zone.

    Args:
        at: instants.
        zones: the name of the time zone of each; null gives null.
    """
    frame = pl.DataFrame({"at": at, "zone": zones})
    days = [
        pl.when(zone=name).then(pl.col("at").dt.convert_time_zone(name).dt.date())
        for name in zones.unique().drop_nulls().sort()
    ]
    return frame.with_columns(pl.coalesce(*days, pl.lit(None, pl.Date)).alias("day"))["day"]


def days_until(day: pl.Series, today: pl.Series) -> pl.Series:
    """Return the whole days from today to a day; 0 on the day itself, negative after it [d]."""
    return (day - today).dt.total_days().cast(pl.Float64)
