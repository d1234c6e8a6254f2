"""An invented fleet of any size: its records as one Parquet file, and the register beside it.

Each tank lives through resin charges of some eighty records; the outlet climbs as a charge is used
up, most records conform, a few in a hundred do not, and a few values are missing. All numbers are
drawn from a seed, a batch of tanks at a time, so that memory stays small whatever the size.
"""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cached_property
from pathlib import Path

import numpy as np
import polars as pl
import yaml
from logged_fields import CODES, KINDS, VANS_PER_BASE, named, worded

RECORDS_PER_TANK = 5_000
RECORDS_PER_BATCH = 250_000
TANKS_PER_VAN = 2
STARTS = datetime(2024, 1, 1, tzinfo=UTC)
DAY_US = 86_400_000_000

CLASS_WATER_L = {"car": 15.0, "minibus": 30.0, "coach": 90.0}
CAR = list(CLASS_WATER_L).index("car")
CHARGE_LASTS_L = 1_800.0
SHORTEST_CHARGE, LONGEST_CHARGE = 70, 100
RATED_KPA = 600.0
RATED_DEG_C = 40.0

RINSE_SHARE = 0.58
RARE_SHARES = {
    "vessel_service": 0.0015,
    "meter_check": 0.005,
    "disposal": 0.0005,
    "complaint": 0.001,
    "water_analysis": 0.0005,
    "incident": 0.0002,
    "out_of_use": 0.0002,
}
FOLLOWED_BY = {"incident": ("vessel_service", 3), "out_of_use": ("return_to_use", 4)}
AFTER_CHANGE = ("resin_change", "seal_service", "reading")


@dataclass(frozen=True)
class Fleet:
    """A fleet to be generated.

    Attributes:
        records: how many records it logs.
        tanks: how many tanks they belong to; by default one per ``RECORDS_PER_TANK``.
        days: over how many days the records of each tank are spread.
        seed: from which all numbers are drawn.
    """

    records: int
    tanks: int = 0
    days: int = 700
    seed: int = 11

    @property
    def tank_count(self) -> int:
        return self.tanks or max(1, round(self.records / RECORDS_PER_TANK))

    @property
    def per_tank(self) -> int:
        return -(-self.records // self.tank_count)

    @property
    def ends(self) -> datetime:
        """Return the first instant after all records."""
        return STARTS + timedelta(days=self.days)

    def write_records(self, file: Path) -> Path:
        """Write the records to a Parquet file, a batch of tanks after the other."""
        size = max(1, RECORDS_PER_BATCH // self.per_tank)
        parts = []
        for number, first in enumerate(range(0, self.tank_count, size)):
            lot = _Lot(self, first, min(first + size, self.tank_count))
            parts.append(file.with_suffix(f".part{number}"))
            lot.frame().write_parquet(parts[-1])
        joined = pl.concat([pl.scan_parquet(part) for part in parts], how="diagonal_relaxed")
        joined.sink_parquet(file, row_group_size=RECORDS_PER_BATCH)
        for part in parts:
            part.unlink()
        return file

    def write_register(self, file: Path) -> Path:
        """Write the register to a YAML file."""
        vans = -(-self.tank_count // TANKS_PER_VAN)
        bases = -(-vans // VANS_PER_BASE)
        tables = {
            "operator": {"name": "Invented Rinsing", "time_zone": "Europe/Paris"},
            "vans": [{"van": f"V{n}", "base": f"B{n // VANS_PER_BASE}"} for n in range(vans)],
            "tanks": [_tank(n) for n in range(self.tank_count)],
            "meters": [_meter(n) for n in range(vans)],
            "vehicle_classes": [
                {"vehicle_class": name, "water_per_rinse": f"{water_l} L"}
                for name, water_l in CLASS_WATER_L.items()
            ],
            "sources": [{"source": f"S{n}", "base": f"B{n}"} for n in range(bases)],
        }
        file.write_text(yaml.dump(tables, Dumper=yaml.CSafeDumper, sort_keys=False))
        return file


def _tank(number: int) -> dict[str, str]:
    return {
        "tank": f"T{number}",
        "van": f"V{number // TANKS_PER_VAN}",
        "vessel_volume": "20 L",
        "bore": "200 mm",
        "rated_pressure": f"{RATED_KPA} kPa",
        "rated_temperature": f"{RATED_DEG_C} degC",
        "freeboard_min": "100 mm",
        "freeboard_max": "250 mm",
        "position": "single",
    }


def _meter(number: int) -> dict[str, str]:
    return {
        "meter": f"M{number}",
        "accuracy_percent": "2 %",
        "resolution": "0.1 mg/L",
        "factor": "0.5 mg/L per uS/cm",
        "compensation": "yes",
    }


@dataclass(frozen=True)
class _Lot:
    """Some tanks of a fleet, from ``first`` to before ``after``; arrays are (tank, place)."""

    fleet: Fleet
    first: int
    after: int

    @cached_property
    def rng(self) -> np.random.Generator:
        return np.random.default_rng([self.fleet.seed, self.first])

    @property
    def shape(self) -> tuple[int, int]:
        return self.after - self.first, self.fleet.per_tank

    def frame(self) -> pl.DataFrame:
        """Return the records of these tanks in the order of their instants."""
        course = self._course()
        mine = ((pl.col("kind") == kind, fill) for kind, fill in KINDS.items())
        frames = [fill(course.filter(rows), self.rng) for rows, fill in mine]
        hidden = ("place", "counted", "used", "vehicles", "litres", "class", "inlet", "number")
        whole = pl.concat(frames, how="diagonal").sort("at", "record")
        return whole.drop(hidden).filter(pl.col("record") <= _record_id(self.fleet.records - 1))

    def _course(self) -> pl.DataFrame:
        """Return what happened to the tanks, a row per record, hidden causes beside it."""
        tanks, places = self.shape
        since = self._since_change()
        kinds = self._kinds(since)
        rinsed = kinds == CODES["rinse"]
        vehicle_class = self.rng.choice(len(CLASS_WATER_L), self.shape, p=[0.7, 0.2, 0.1])
        vehicles = np.where(vehicle_class == CAR, self.rng.integers(1, 4, self.shape), 1)
        each_l = np.array(list(CLASS_WATER_L.values()))[vehicle_class]
        litres = each_l * vehicles * self.rng.uniform(0.9, 1.1, self.shape) * rinsed
        counted = np.cumsum(litres.round(1), axis=1)
        number = np.arange(self.first * places, self.after * places)
        tank = np.repeat(np.arange(self.first, self.after), places)
        inlet = 150 + self.rng.uniform(0, 130, (tanks, 1)) + self.rng.normal(0, 5, self.shape)
        return pl.DataFrame(
            {
                "kind": worded(list(KINDS), kinds.ravel()),
                "at": self._instants().ravel(),
                "place": since.ravel(),
                "counted": counted.ravel().round(1),
                "used": ((counted - _at_change(counted, since)) / CHARGE_LASTS_L).ravel(),
                "vehicles": vehicles.ravel().astype(float),
                "litres": litres.ravel().round(1),
                "class": worded(list(CLASS_WATER_L), vehicle_class.ravel()),
                "inlet": inlet.ravel().round(1),
                "number": number,
            }
        ).with_columns(
            _record_ids(number).alias("record"),
            pl.col("at").cast(pl.Datetime("us", "UTC")),
            named("T", tank).alias("tank"),
            named("V", tank // TANKS_PER_VAN).alias("van"),
            named("P", tank // TANKS_PER_VAN % 97).alias("by"),
        )

    def _since_change(self) -> np.ndarray:
        """Return how many records ago the resin was changed; a tank begins within a charge."""
        tanks, places = self.shape
        draws = places // SHORTEST_CHARGE + 2
        lengths = self.rng.integers(SHORTEST_CHARGE, LONGEST_CHARGE, (tanks, draws))
        lengths[:, 0] = self.rng.integers(3, SHORTEST_CHARGE, tanks)
        changes = np.cumsum(lengths, axis=1)
        marks = np.zeros((tanks, places), np.int64)
        row, column = np.nonzero(changes < places)
        place = changes[row, column]
        marks[row, place] = place
        return np.arange(places) - np.maximum.accumulate(marks, axis=1)

    def _kinds(self, since: np.ndarray) -> np.ndarray:
        draw = self.rng.random(self.shape)
        kinds = np.where(draw < RINSE_SHARE, CODES["rinse"], CODES["reading"]).astype(np.int8)
        rare = self.rng.random(self.shape)
        edge = 0.0
        for kind, share in RARE_SHARES.items():
            rows = (rare >= edge) & (rare < edge + share)
            kinds[rows] = CODES[kind]
            if kind in FOLLOWED_BY:
                name, later = FOLLOWED_BY[kind]
                kinds[:, later:][rows[:, :-later]] = CODES[name]
            edge += share
        began_here = np.arange(since.shape[1]) > since  # its change is on record
        for place, kind in enumerate(AFTER_CHANGE):
            kinds[(since == place) & began_here] = CODES[kind]
        return kinds

    def _instants(self) -> np.ndarray:
        """Return instants in microseconds since 1970, whole seconds, ascending on each tank."""
        step_us = self.fleet.days * DAY_US / self.fleet.per_tank
        places = np.arange(self.fleet.per_tank) + self.rng.uniform(0, 0.9, self.shape)
        start = round(STARTS.timestamp()) * 1_000_000
        return start + (places * step_us / 1e6).astype(np.int64) * 1_000_000


def _at_change(counted: np.ndarray, since: np.ndarray) -> np.ndarray:
    """Return what the counter showed at the latest change."""
    at = np.where(since == 0, counted, 0.0)
    return np.maximum.accumulate(at, axis=1)


def _record_id(number: int) -> str:
    return f"R{number:09d}"


def _record_ids(numbers: np.ndarray) -> pl.Series:
    return "R" + pl.Series(numbers).cast(pl.String).str.zfill(9)
