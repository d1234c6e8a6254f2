"""What was logged of a tank: its latest records, and in short what its outlet read."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

import polars as pl

from qa_engine.fields import Quantity, RecordField
from qa_engine.history import History
from qa_engine.records import KINDS
from qa_engine.register import Register
from qa_engine.web.shown import amount, day, figure
from qa_engine.web.tanks.figures import BACK, events_of, readings_of

SHOWN_RECORDS = 30
SHOWN_FIELDS = 5
COUNTED = ("count", "1")

Frames = Mapping[str, pl.DataFrame]


@dataclass(frozen=True)
class Entry:
    """A record of the history: its row, a few of its fields for reading."""

    row: Mapping[str, Any]
    told: tuple[tuple[str, str], ...]
    more: int


@dataclass(frozen=True)
class Outlets:
    """What the chart of the outlet shows, in short.

    Attributes:
        readings: how many readings state a TDS, of the last ``BACK``.
        last: the last of them [mg/L], and ``at``: of when; None if there is none.
        unread: how many more readings state conductivity only.
        events: how many events there were.
    """

    readings: int
    last: float | None
    at: datetime | None
    unread: int
    events: int


def outlets_of(frames: Frames, register: Register, as_of: datetime) -> Outlets:
    """Return what the outlet of a tank read lately, in short.

    Args:
        frames: the records of the tank by kind.
        register: the operator's register.
        as_of: the present.
    """
    history = History.of_records(frames, register)
    read, unread = readings_of(history, as_of - BACK, as_of)
    happened = events_of(history, as_of - BACK, as_of).height
    if read.is_empty():
        return Outlets(0, None, None, unread, happened)
    return Outlets(read.height, read["outlet"][-1], read["at"][-1], unread, happened)


def history_of(frames: Frames) -> list[Entry]:
    """Return the latest records of all kinds, latest first."""
    latest = [
        row
        for frame in frames.values()
        for row in frame.sort("at", "record").tail(SHOWN_RECORDS).to_dicts()
    ]
    latest.sort(key=lambda row: (row["at"], row["record"]), reverse=True)
    return [_entry(row) for row in latest[:SHOWN_RECORDS]]


def _entry(row: Mapping[str, Any]) -> Entry:
    fields = KINDS[row["kind"]].own_fields
    told = [
        (name, _shown(row[name], field))
        for name, field in fields.items()
        if row.get(name) is not None
    ]
    return Entry(row, tuple(told[:SHOWN_FIELDS]), len(told[SHOWN_FIELDS:]))


def _shown(value: object, field: RecordField) -> str:
    """Return the value of a field for reading, in the reader's units."""
    if isinstance(field, Quantity) and isinstance(value, float):
        return figure(value) if field.unit in COUNTED else amount(value, field.unit)
    if isinstance(value, bool):
        return "yes" if value else "no"
    return day(value) if isinstance(value, date) else str(value)
