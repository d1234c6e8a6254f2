"""What the crews of the invented fleet logged, as the engine takes it in."""

from datetime import timedelta
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl
from skill_fleet import CLASSES, DAY_US, STARTS, TDS_FACTOR, Fleet, Lives, Longs

from qa_engine.history import History
from qa_engine.records import KINDS
from qa_engine.register import TABLES, Register

GRADE = "standard mixed bed"
MINUTE_US = 60_000_000
READ_AFTER_US = MINUTE_US
ASKED_AFTER_US = 2 * MINUTE_US
ZONE = ZoneInfo("UTC")


def tank_ids(fleet: Fleet) -> list[str]:
    """Return the names of the tanks, sorted."""
    return [f"T{number:04}" for number in range(fleet.world.tanks)]


def instants(at_us: Longs) -> pl.Series:
    """Return instants, given since the start."""
    start = int(STARTS.timestamp() * 1_000_000)
    return pl.Series("at", at_us + start, dtype=pl.Int64).cast(pl.Datetime("us", "UTC"))


def history_of(fleet: Fleet) -> History:
    """Return the history that the crews logged, and the register."""
    parts: dict[str, list[pl.DataFrame]] = {"resin_change": [], "rinse": [], "reading": []}
    parts["reading"].append(_first_readings(fleet))
    for number, lives in enumerate(fleet.lives):
        parts["resin_change"].append(_changes(fleet, lives, number))
        parts["rinse"].append(_rinses(fleet, lives, number))
        parts["reading"].append(_readings(fleet, lives, number))
    frames = {kind: pl.concat(frames, how="diagonal") for kind, frames in parts.items()}
    for kind, frame in frames.items():
        wrong = {n: t for n, t in frame.schema.items() if KINDS[kind].fields[n].dtype != t}
        frames[kind] = frame.cast({n: KINDS[kind].fields[n].dtype for n in wrong})
    return History.of_records(frames, register_of(fleet))


def register_of(fleet: Fleet) -> Register:
    """Return the register: a meter for each tank, good to 2 % and a digit, and the classes."""
    meters = [
        {
            "meter": f"M{tank}",
            "accuracy_percent": 2.0,
            "accuracy_digits": 1.0,
            "resolution": 1.0,
            "factor": TDS_FACTOR,
            "compensation": True,
        }
        for tank in tank_ids(fleet)
    ]
    classes = [{"vehicle_class": n, "water_per_rinse": litres} for n, litres in CLASSES.items()]
    tanks = [{"tank": tank} for tank in tank_ids(fleet)]
    rows = {"meters": meters, "vehicle_classes": classes, "tanks": tanks}
    tables = {name: table.frame(rows.get(name, []), ZONE) for name, table in TABLES.items()}
    return Register("Fleet with a known truth (invented)", ZONE, tables)


def _first_readings(fleet: Fleet) -> pl.DataFrame:
    tanks = tank_ids(fleet)
    return pl.DataFrame(
        {
            "record": [f"{tank}-first" for tank in tanks],
            "tank": tanks,
            "at": instants(fleet.lives[0].begins_us - MINUTE_US),
            "meter": [f"M{tank}" for tank in tanks],
            "sampled": "flowing",
            "inlet_tds": fleet.lives[0].inlet_read[0],
        }
    )


def _changes(fleet: Fleet, lives: Lives, number: int) -> pl.DataFrame:
    tanks = tank_ids(fleet)
    return pl.DataFrame(
        {
            "record": [f"{tank}-{number:02}" for tank in tanks],
            "tank": tanks,
            "at": instants(lives.begins_us),
            "change": "emptied and refilled",
            "grade": GRADE,
            "resin_volume": fleet.resin_l,
        }
    )


def _logged(fleet: Fleet, lives: Lives, number: int, kind: str) -> pl.DataFrame:
    """Return tank, instant and id for every rinse there might be, a row each, rinse by rinse."""
    rinses, tanks = lives.at_us.shape
    at = lives.at_us.ravel() + (READ_AFTER_US if kind == "D" else 0)
    return pl.DataFrame(
        {
            "tank": tank_ids(fleet) * rinses,
            "at": instants(at),
            "rinse": np.repeat(np.arange(rinses), tanks),
            "in use": (lives.at_us <= lives.ends_us).ravel(),
        }
    ).with_columns(
        pl.format("{}-{}-{}{}", "tank", pl.lit(f"{number:02}"), pl.lit(kind), "rinse").alias(
            "record"
        )
    )


def _rinses(fleet: Fleet, lives: Lives, number: int) -> pl.DataFrame:
    names = pl.Series(list(CLASSES))
    return (
        _logged(fleet, lives, number, "R")
        .with_columns(
            vehicle_class=names.gather(lives.kind.ravel()),
            rinses=1.0,
            water_used=pl.Series(lives.logged.ravel(), nan_to_null=True),
        )
        .filter("in use")
        .drop("in use", "rinse")
    )


def _readings(fleet: Fleet, lives: Lives, number: int) -> pl.DataFrame:
    return (
        _logged(fleet, lives, number, "D")
        .with_columns(
            meter=pl.lit("M") + pl.col("tank"),
            sampled=pl.lit("flowing"),
            inlet_tds=pl.Series(lives.inlet_read.ravel()),
            outlet_tds=pl.Series(lives.outlet_read.ravel()),
            read=pl.Series(lives.read.ravel()),
        )
        .filter(pl.col("in use") & pl.col("read"))
        .drop("in use", "read", "rinse")
    )


def ends_at(fleet: Fleet) -> timedelta:
    """Return when the last charge was changed, since the start."""
    return timedelta(days=float(fleet.lives[-1].ends_us.max()) / DAY_US + 1)
