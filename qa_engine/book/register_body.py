"""A register as the body of an entry, and back."""

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

import polars as pl

from qa_engine.register import BEGINNING, TABLES, Register


def body_of(register: Register) -> dict[str, Any]:
    """Return a register as JSON can hold it: rows as they are written, days as YYYY-MM-DD."""
    tables = {
        name: [_row(row, register.zone) for row in register.table(name).iter_rows(named=True)]
        for name in TABLES
    }
    operator = {"name": register.operator, "time_zone": register.zone.key}
    return {"operator": operator, **{name: rows for name, rows in tables.items() if rows}}


def _row(row: Mapping[str, Any], zone: ZoneInfo) -> dict[str, Any]:
    written = {name: value for name, value in row.items() if value is not None}
    since: datetime = written.pop("holds_from")
    if since != BEGINNING:
        written["from"] = since.astimezone(zone).date()
    return {n: v.isoformat() if isinstance(v, date) else v for n, v in written.items()}


def register_of(body: Mapping[str, Any]) -> Register:
    """Return the register that a body holds."""
    operator = body["operator"]
    zone = ZoneInfo(operator["time_zone"])
    tables: dict[str, pl.DataFrame] = {
        name: table.frame([table.schema().load(row) for row in body.get(name, [])], zone)
        for name, table in TABLES.items()
    }
    return Register(operator["name"], zone, tables)
