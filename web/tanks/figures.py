"""The figures of a tank: its readings and events, what it used, what it will use."""

from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from threading import Lock
from typing import Any

import polars as pl

from qa_engine.book.lookout import FleetState
from qa_engine.forecast.one_tank import TankThroughTime, through_time
from qa_engine.history import History
from qa_engine.inspection import Assignment, Course, with_what_works
from qa_engine.plugin_host import installed_plugins
from qa_engine.records import TANK_KINDS
from qa_engine.web.office import office

BACK = timedelta(days=120)
"""How far back the outlet is shown."""

KEPT = 256
"""How many tanks' figures are kept at hand until the book or the day changes."""

EVENTS = {
    "resin_change": "change",
    "seal_service": "seal",
    "vessel_service": "service",
    "incident": "incident",
}
"""The kinds of record that charts mark, and the field that says which it was."""


@dataclass(frozen=True, eq=False)
class Figures:
    """What the charts and the tables of a tank show.

    Attributes:
        tank: which tank.
        as_of: the present.
        readings: ``at``, ``record``, ``outlet`` [mg/L], ``sampled``, and ``charge``: the charge
            that it was read on; of the last ``BACK``, earliest first.
        unread: how many more readings state conductivity only.
        events: ``at``, ``record``, ``kind``, ``which``, earliest first.
        time: what the charge used and will use, limits, charges.
        foretold: the tank's row of ``Forecast.tanks``.
    """

    tank: str
    as_of: datetime
    readings: pl.DataFrame
    unread: int
    events: pl.DataFrame
    time: TankThroughTime
    foretold: Mapping[str, Any]


_kept: OrderedDict[tuple[object, ...], Figures] = OrderedDict()
_lock = Lock()


def figures_of(tank: str, state: FleetState) -> Figures | None:
    """Return the figures of a tank, None where it is not known."""
    key = (office().book.url, state.entries, state.as_of, tank)
    with _lock:
        if key in _kept:
            _kept.move_to_end(key)
            return _kept[key]
    found = _found(tank, state)
    if found is not None:
        with _lock:
            _kept[key] = found
            while len(_kept) > KEPT:
                _kept.popitem(last=False)
    return found


def assignment_of(tank: str, state: FleetState) -> Assignment:
    """Return the records of a tank and the analyses of water, as of a state's instant."""
    kept = state.kept
    analyses = {kind: kept[kind] for kind in kept if kind == "water_analysis"}
    frames = {**kept.about({"tank": [tank]}, TANK_KINDS), **analyses}
    return Assignment(frames, state.register, state.as_of)


def _found(tank: str, state: FleetState) -> Figures | None:
    foretold = state.forecast.tanks.filter(pl.col("tank") == tank).to_dicts()
    if not foretold:
        return None
    task, since = assignment_of(tank, state), state.as_of - BACK

    def work(course: Course) -> TankThroughTime | None:
        past = course.past(course.history)
        return through_time(tank, past, course.catalogue, state.forecast, state.editions, since)

    time = with_what_works(task, installed_plugins(), lambda _: (), work)
    if time is None:
        return None
    history = History.of_records(task.frames, task.register)
    read, unread = readings_of(history, since, state.as_of)
    begun = time.charges.drop_nulls("begins").select("charge", at="begins").sort("at")
    read = read.join_asof(begun, on="at")
    happened = events_of(history, since, state.as_of)
    return Figures(tank, state.as_of, read, unread, happened, time, foretold[0])


def readings_of(history: History, since: datetime, until: datetime) -> tuple[pl.DataFrame, int]:
    """Return what one tank's outlet read, and how many more readings state conductivity only.

    Returns:
        ``at``, ``record``, ``outlet`` [mg/L], ``sampled``, earliest first; and the count.
    """
    columns = ("at", "record", "outlet_tds", "sampled", "outlet_conductivity")
    lately = history.of("reading", *columns).filter(pl.col("at").is_between(since, until))
    told = lately.drop_nulls("outlet_tds")
    unread = lately.filter(pl.col("outlet_tds").is_null()).drop_nulls("outlet_conductivity")
    return told.select("at", "record", "sampled", outlet="outlet_tds"), unread.height


def events_of(history: History, since: datetime, until: datetime) -> pl.DataFrame:
    """Return what was done to one tank or happened to it, earliest first.

    Returns:
        ``at``, ``record``, ``kind`` and ``which``: what its field ``EVENTS`` says.
    """
    parts = [
        history.of(kind, "at", "record", field).select(
            "at", "record", pl.lit(kind).alias("kind"), which=field
        )
        for kind, field in EVENTS.items()
    ]
    within = pl.col("at").is_between(since, until)
    return pl.concat(parts).filter(within).sort("at", "record")
