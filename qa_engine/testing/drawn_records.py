"""Histories drawn at random, few of a kind, so that records meet: at one instant, on one tank."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, date, datetime, timedelta
from random import Random
from typing import Any
from zoneinfo import ZoneInfo

import polars as pl

from qa_engine.facts import EVENT_SUBJECTS, STATE_SUBJECTS
from qa_engine.fields import Day, Identifier, Quantity, Word, YesNo
from qa_engine.history import History
from qa_engine.records import KINDS, RECORD_FIELDS
from qa_engine.register import TABLES, Register

BEGIN = datetime(2026, 3, 27, tzinfo=UTC)
STEP = timedelta(hours=17)
LAST = 4
"""How many steps there are; few, so that records meet at one instant."""

INSTANTS = tuple(BEGIN + step * STEP for step in range(LAST + 1))

IDS = {
    "van": ("V1", "V2", "V3"),
    "tank": ("T1", "T2", "T3"),
    "meter": ("M1", "M2"),
    "base": ("B1", "B2"),
    "item": ("V1", "T1", "T2", "M1"),
}
RECORDS, STATED = 120, 0.7
"""How many records a fleet has, and which share of their fields is filled in."""

PLACES = ("van", "tank", "meter", "base", "source")
NOT_DRAWN = ("record", "kind", "at", "by", "note")

ROWS: dict[str, list[Mapping[str, Any]]] = {
    "vans": [{"van": "V1", "base": "B1"}, {"van": "V2", "base": "B2", "time_zone": "Asia/Tokyo"}],
    "tanks": [
        {"tank": "T1", "van": "V1", "vessel_volume": 20.0},
        {"tank": "T1", "from": date(2026, 3, 30), "van": "V2", "vessel_volume": 25.0},
        {"tank": "T2", "van": "V2"},
    ],
    "meters": [{"meter": "M1", "compensation": False}],
}

Numbered = tuple[int, Mapping[str, Any]]
"""A record, with the number that makes its id."""


def drawn_register(zone: str = "Europe/Berlin") -> Register:
    """Return the register of an invented fleet, some of whose tanks, vans and meters it lacks."""
    clock = ZoneInfo(zone)
    tables = {name: table.frame(ROWS.get(name, []), clock) for name, table in TABLES.items()}
    return Register("Fleet drawn at random (invented)", clock, tables)


def drawn_records(dice: Random, count: int = RECORDS) -> list[Numbered]:
    """Draw numbered records of all kinds."""
    kinds = list(KINDS)
    return [(number, _record(dice.choice(kinds), dice)) for number in range(count)]


def _record(kind: str, dice: Random) -> dict[str, Any]:
    """Draw a record of a kind; any field but the item it is about may be empty."""
    record: dict[str, Any] = {"kind": kind, "at": dice.choice(INSTANTS)}
    for name in KINDS[kind].fields:
        if name not in NOT_DRAWN:
            stated = name == KINDS[kind].item or dice.random() < STATED
            record[name] = _value(name, dice) if stated else None
    return record


def _value(name: str, dice: Random) -> Any:
    """Draw what may stand in a field; few different values, so that they meet."""
    field = RECORD_FIELDS[name]
    if isinstance(field, Quantity):
        return max(field.low, min(float(dice.randrange(31)), field.high))
    if isinstance(field, YesNo):
        return dice.random() < 0.5
    if isinstance(field, Word):
        return dice.choice(field.words)
    if isinstance(field, Day):
        return date(2026, 3, 20) + timedelta(dice.randrange(31))
    if isinstance(field, Identifier):
        return dice.choice(IDS.get(name, ("a", "b")))
    return None


def history_of(records: Iterable[Numbered], register: Register) -> History:
    """Return the history of numbered records, in the order given."""
    by_kind: dict[str, list[dict[str, Any]]] = {}
    for number, record in records:
        by_kind.setdefault(record["kind"], []).append({**record, "record": f"R{number:02}"})
    frames = {
        kind: pl.DataFrame(rows, schema={n: f.dtype for n, f in KINDS[kind].fields.items()})
        for kind, rows in by_kind.items()
    }
    return History.of_records(frames, register)


def up_to(records: Iterable[Numbered], until: datetime) -> list[Numbered]:
    """Return the records that are not later than an instant."""
    return [(number, record) for number, record in records if record["at"] <= until]


def subjects_up_to(kind: str, history: History, until: datetime) -> pl.DataFrame:
    """Return the subjects of a kind up to an instant, as the engine asks for their facts."""
    if kind in EVENT_SUBJECTS:
        return _events(kind, history, until)
    return _things(kind, [at for at in INSTANTS if at <= until])


def _events(kind: str, history: History, until: datetime) -> pl.DataFrame:
    names = [name for name in KINDS[kind].fields if name != "kind"]
    frame = history.of(kind, *names).with_columns(
        subject=pl.col("record"), item=pl.col(KINDS[kind].item), until=pl.lit(until)
    )
    return _completed(frame.filter(pl.col("at") <= until))


def _things(kind: str, at: Sequence[datetime]) -> pl.DataFrame:
    item = STATE_SUBJECTS[kind]
    instants = pl.DataFrame({"at": at}, schema={"at": pl.Datetime("us", "UTC")})
    named = pl.DataFrame(dict.fromkeys((item, "subject", "item"), IDS[item]))
    nothing = pl.lit(None, pl.String)
    frame = named.join(instants, how="cross", maintain_order="left_right")
    return _completed(frame.with_columns(until=pl.col("at"), record=nothing))


def _completed(frame: pl.DataFrame) -> pl.DataFrame:
    lacking = [name for name in PLACES if name not in frame.columns]
    return frame.with_columns(pl.lit(None, pl.String).alias(name) for name in lacking)
