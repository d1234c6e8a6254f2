"""Columns of instants: the usual forms of RFC 3339 at once, the rarer ones on a second look."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import polars as pl

from qa_engine.fields import CLOCK, DAY, FIRST_YEAR, LAST_YEAR, OFFSET, Instant

_SECONDS = len("2026-03-01T08:15:00")
_USUAL = rf"^{DAY}T(?:[01][0-9]|2[0-3]):[0-5][0-9]:[0-5][0-9]{OFFSET}$"
_ANY = rf"^(?<day>{DAY})[Tt ](?<clock>{CLOCK})(?<offset>{OFFSET})?$"
_CLOCK_OF_DAY = "%Y-%m-%dT%H:%M:%S"
_UTC = pl.Datetime("us", "UTC")
_LOCAL = pl.Datetime("us")
_FARTHEST = 24 * 60 - 1
_FIRST = datetime(FIRST_YEAR, 1, 1, tzinfo=UTC)
_END = datetime(LAST_YEAR + 1, 1, 1, tzinfo=UTC)


def _offsets() -> dict[str, timedelta]:
    """Return every offset that may be written, and what it says."""
    offsets = {"Z": timedelta(0), "z": timedelta(0)}
    for minutes in range(_FARTHEST + 1):
        clock = f"{minutes // 60:02d}:{minutes % 60:02d}"
        offsets["+" + clock] = timedelta(minutes=minutes)
        offsets["-" + clock] = -timedelta(minutes=minutes)
    return offsets


_OFFSETS = _offsets()
_WRITTEN = pl.Series(list(_OFFSETS), dtype=pl.String)
_SAID = pl.Series(list(_OFFSETS.values()), dtype=pl.Duration("us"))


def quick_instants(column: pl.Expr, dtype: pl.DataType) -> pl.Expr:
    """Return the instants of a column in UTC; null where the quick look says no.

    Takes text of the form ``2026-03-01T08:15:00`` with an offset, and native instants.
    """
    if dtype != pl.String:
        likely = column.is_between(_FIRST, _END, closed="left")
        return pl.when(likely).then(column) if dtype == _UTC else pl.lit(None, _UTC)
    usual = pl.when(column.str.contains(_USUAL)).then(column)
    moment = usual.str.slice(0, _SECONDS).str.to_datetime(
        _CLOCK_OF_DAY, time_unit="us", strict=False, cache=False
    )
    return (moment - _offset(usual.str.slice(_SECONDS))).dt.replace_time_zone("UTC")


def slow_instants(cells: pl.Series, field: Instant) -> pl.Series:
    """Return the instants of cells that the quick look did not take; null where none is right."""
    if cells.dtype != pl.String:
        return _in_zone(cells, field) if cells.dtype == _LOCAL else cells.clear(len(cells))
    parts = cells.str.extract_groups(_ANY).struct.unnest()
    clock = (parts["clock"] + ":00").str.slice(0, len("08:15:00"))
    whole = (parts["day"] + "T" + clock).str.to_datetime(
        _CLOCK_OF_DAY, time_unit="us", strict=False
    )
    moment = whole + _fraction(parts["clock"].str.slice(len("08:15:00.")))
    offset = pl.select(_offset(pl.lit(parts["offset"]))).to_series()
    told = (moment - offset).dt.replace_time_zone("UTC")
    local = _in_zone(moment.set(parts["offset"].is_not_null(), None), field)
    return told.fill_null(local)


def _offset(written: pl.Expr) -> pl.Expr:
    return written.replace_strict(_WRITTEN, _SAID, default=None, return_dtype=pl.Duration("us"))


def _fraction(digits: pl.Series) -> pl.Series:
    return digits.str.pad_end(6, "0").cast(pl.Int64).cast(pl.Duration("us"))


def _in_zone(local: pl.Series, field: Instant) -> pl.Series:
    """Return local times as instants where the clocks of the field's zone kept still.

    Asked is the same zone data that the field itself asks, once per hour that occurs; an hour
    in which the clocks changed is left to the field.
    """
    if field.time_zone is None:
        return pl.Series([None] * len(local), dtype=_UTC)
    zone = ZoneInfo(field.time_zone)
    hour = local.dt.truncate("1h")
    hours = hour.unique().drop_nulls()
    offsets = pl.Series([_steady(one, zone) for one in hours], dtype=pl.Duration("us"))
    offset = hour.replace_strict(hours, offsets, default=None, return_dtype=pl.Duration("us"))
    return (local - offset).dt.replace_time_zone("UTC")


def _steady(hour: datetime, zone: ZoneInfo) -> timedelta | None:
    """Return the offset of a zone in a local hour, or nothing if it changed or is far off."""
    if not FIRST_YEAR <= hour.year <= LAST_YEAR:
        return None
    ends = (hour, hour + timedelta(hours=1, microseconds=-1))
    offsets = {
        moment.replace(tzinfo=zone, fold=fold).utcoffset() for moment in ends for fold in (0, 1)
    }
    return offsets.pop() if len(offsets) == 1 else None
