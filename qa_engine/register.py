"""The register: what the operator owns, with rows that may follow each other in time.

A row may say ``from``: then it holds from the start of that day in the operator's time zone until
the next row of the same id begins. A row without ``from`` holds from the beginning.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import cached_property
from typing import Any
from zoneinfo import ZoneInfo

import polars as pl
from marshmallow import RAISE, Schema

from qa_engine.fields import (
    Day,
    Identifier,
    Quantity,
    RecordField,
    Text,
    TimeZone,
    Word,
    YesNo,
)

BEGINNING = datetime(1, 1, 1, tzinfo=UTC)
"""The instant from which a register row without ``from`` holds."""


class Dated(Schema):
    """A register row that may say from which day on it holds."""

    class Meta:
        unknown = RAISE
        include = {"from": Day()}  # noqa: RUF012 - marshmallow's way to declare a reserved word


class Operator(Schema):
    """Who runs the fleet and by which clock its days are counted."""

    class Meta:
        unknown = RAISE

    name = Text(required=True)
    time_zone = TimeZone(required=True)


class Van(Dated):
    """A van and the base it works from; its own clock if that differs from the operator's."""

    van = Identifier(required=True)
    base = Identifier()
    time_zone = TimeZone()


class Tank(Dated):
    """A tank: its shell, the limits on its data plate, and where it works.

    Where its vessel needs no periodic examination, the row names who says so and in which document;
    the operator's own policy is nobody who could.
    """

    tank = Identifier(required=True)
    van = Identifier()
    vessel_volume = Quantity("L", 0, 10_000)
    bore = Quantity("mm", 0, 5_000)
    rated_pressure = Quantity("kPa", 0, 10_000)
    rated_temperature = Quantity("degC", 0, 150)
    freeboard_min = Quantity("mm", 0, 5_000)
    freeboard_max = Quantity("mm", 0, 5_000)
    in_service_on = Day()
    construction = Text()
    position = Word("single", "lead", "polish", "cation", "anion")
    after_tank = Identifier()
    no_examination_by = Word("data plate", "local code", "written scheme")
    no_examination_document = Text()


class Meter(Dated):
    """A conductivity or TDS meter: its stated accuracy and how it makes TDS of conductivity."""

    meter = Identifier(required=True)
    accuracy_percent = Quantity("%", 0, 100)
    accuracy_digits = Quantity("count", 0, 1_000)
    resolution = Quantity("mg/L", 0, 1_000)
    factor = Quantity("mg/L per uS/cm", 0, 2)
    compensation = YesNo()


class VehicleClass(Dated):
    """A class of vehicle and the water that one rinse of it takes."""

    vehicle_class = Identifier(required=True)
    water_per_rinse = Quantity("L", 0, 100_000)


class Source(Dated):
    """A water source at a base, and what stands before the tank."""

    source = Identifier(required=True)
    base = Identifier()
    pre_treatment = Text()


@dataclass(frozen=True)
class Table:
    """One table of the register: its name, its row schema and the field that identifies a row."""

    name: str
    schema: type[Schema]
    key: str

    @cached_property
    def fields(self) -> dict[str, RecordField]:
        declared = self.schema().fields
        return {name: f for name, f in declared.items() if isinstance(f, RecordField)}

    @cached_property
    def nothing(self) -> pl.DataFrame:
        """Return the table without rows, ``from`` as the instant ``holds_from``."""
        return self.frame([], ZoneInfo("UTC"))

    def frame(self, rows: list[Mapping[str, Any]], zone: ZoneInfo) -> pl.DataFrame:
        """Return rows as a frame sorted by (key, holds_from); days begin in ``zone``."""
        names = [name for name in self.fields if name != "from"]
        schema: dict[str, Any] = {name: self.fields[name].dtype for name in names}
        schema["holds_from"] = pl.Datetime("us", "UTC")
        values = [
            {**{n: row.get(n) for n in names}, "holds_from": day_start(row.get("from"), zone)}
            for row in rows
        ]
        return pl.DataFrame(values, schema=schema).sort(self.key, "holds_from")


def day_start(day: date | None, zone: ZoneInfo) -> datetime:
    """Return the first instant of a day in a zone, in UTC; no day gives the beginning of time.

    Midnight does not exist everywhere: where the clocks skip it, the day starts when they
    have moved on.
    """
    if day is None:
        return BEGINNING
    midnight = datetime(day.year, day.month, day.day, tzinfo=zone)
    return midnight.astimezone(UTC)


TABLES: dict[str, Table] = {
    table.name: table
    for table in (
        Table("vans", Van, "van"),
        Table("tanks", Tank, "tank"),
        Table("meters", Meter, "meter"),
        Table("vehicle_classes", VehicleClass, "vehicle_class"),
        Table("sources", Source, "source"),
    )
}
"""The tables of the register that have rows; the operator stands beside them."""


@dataclass(frozen=True)
class Register:
    """The operator's register, ready to be asked.

    Attributes:
        operator: the operator's name.
        zone: the time zone in which its days are counted.
        tables: a frame per table of ``TABLES``, sorted by (key, holds_from).
    """

    operator: str
    zone: ZoneInfo
    tables: Mapping[str, pl.DataFrame]

    def table(self, name: str) -> pl.DataFrame:
        """Return a table, without rows if the register has none."""
        return self.tables[name] if name in self.tables else TABLES[name].nothing
