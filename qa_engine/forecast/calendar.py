"""What can be done together: resin changes, and what rules want done by a day, visit by visit."""

from dataclasses import fields
from typing import Any

import polars as pl

from qa_engine.forecast.outcome import Forecast
from qa_engine.forecast.visits import visits_of
from qa_engine.forecast.work import RESIN_CHANGE, Work, work_of
from qa_engine.inspection import Inspection

CALENDAR: dict[str, Any] = {
    "place_kind": pl.String,
    "place": pl.String,
    "date": pl.Date,
    "work": pl.String,
    "tank": pl.String,
    "subject_kind": pl.String,
    "subject": pl.String,
    "by": pl.Date,
    "overdue": pl.Boolean,
    "rule_set": pl.String,
    "rule": pl.String,
    "grade": pl.String,
    "resin_volume": pl.Float64,
    "correction": pl.String,
    "caution": pl.String,
}
"""The columns of the calendar: a row per piece of ``Work``, whose attributes they are.

``date`` is the day recommended for the visit; what has the same place and date is done together.
"""

VISIT = ("date", "place_kind", "place")
"""The columns that name a visit."""


def calendar_of(forecast: Forecast, inspection: Inspection) -> pl.DataFrame:
    """Return the work of the days that the forecast looks ahead, visit by visit.

    Args:
        forecast: of the tanks.
        inspection: of the same records at the same instant, without a period.

    Returns:
        The columns ``CALENDAR``, sorted by date and place; within a visit what is overdue by a rule
        comes first, since it may say that a tank must not be used, then the resin changes.
    """
    last = forecast.day(forecast.days)
    places: dict[tuple[str, str], list[Work]] = {}
    for one in work_of(forecast, inspection):
        if one.by <= last:
            places.setdefault((one.place_kind, one.place), []).append(one)
    rows = [
        {**_told(one), "date": visit.day}
        for _, own in sorted(places.items())
        for visit in visits_of(own)
        for one in visit.work
    ]
    table = pl.DataFrame(rows, schema=CALENDAR)
    change = pl.col("work") == RESIN_CHANGE
    first = pl.when(pl.col("overdue") & ~change).then(0).when(change).then(1).otherwise(2)
    return table.sort(*VISIT, first, "by", "subject", "rule_set", "rule")


def _told(work: Work) -> dict[str, Any]:
    return {field.name: getattr(work, field.name) for field in fields(work)}
