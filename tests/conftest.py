"""A small fleet for tests: records and register rows as plain dicts, and its facts by name."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from functools import cached_property
from typing import Any
from zoneinfo import ZoneInfo

import polars as pl
import pytest

from qa_engine.depletion import ResinModel
from qa_engine.facts import ENGINE_FACTS
from qa_engine.facts.catalogue import Catalogue
from qa_engine.facts.past import Past
from qa_engine.history import History
from qa_engine.records import KINDS
from qa_engine.register import TABLES, Register

CATALOGUE = Catalogue.of(ENGINE_FACTS)
PLACES = ("van", "tank", "meter", "base", "source")


def instant(written: str) -> datetime:
    """Return an instant; without an offset it is UTC."""
    moment = datetime.fromisoformat(written)
    return moment if moment.tzinfo else moment.replace(tzinfo=UTC)


@dataclass(frozen=True)
class Fleet:
    """Records and a register, asked for facts."""

    records: tuple[Mapping[str, Any], ...]
    tables: Mapping[str, list[Mapping[str, Any]]]
    zone: str = "UTC"
    models: Mapping[str, ResinModel] = field(default_factory=dict)

    @cached_property
    def register(self) -> Register:
        zone = ZoneInfo(self.zone)
        rows = {
            name: [{**row, "from": _day(row.get("from"))} for row in table]
            for name, table in self.tables.items()
        }
        tables = {name: TABLES[name].frame(table, zone) for name, table in rows.items()}
        return Register("Fleet of the tests", zone, tables)

    @cached_property
    def past(self) -> Past:
        frames = {kind: self._frame(kind) for kind in {r["kind"] for r in self.records}}
        history = History.of_records(frames, self.register)
        return Past(history, self.models, datetime(2030, 1, 1, tzinfo=UTC))

    def _frame(self, kind: str) -> pl.DataFrame:
        schema = {name: field.dtype for name, field in KINDS[kind].fields.items()}
        rows = [
            {
                "record": f"R{number}",
                **record,
                "at": instant(record["at"]),
            }
            for number, record in enumerate(self.records, 1)
            if record["kind"] == kind
        ]
        return pl.DataFrame(rows, schema=schema)

    def events(self, kind: str, until: str | None = None) -> pl.DataFrame:
        """Return the records of a kind as subjects."""
        columns = [name for name in KINDS[kind].fields if name != "kind"]
        frame = self.past.history.of(kind, *columns).with_columns(
            subject=pl.col("record"),
            item=pl.col(KINDS[kind].item),
            until=pl.lit(instant(until)) if until else pl.col("at"),
        )
        return _with_places(frame)

    def thing(self, kind: str, item: str, *at: str) -> pl.DataFrame:
        """Return one tank, meter, van, base, or the charge of a tank, at some instants."""
        moments = pl.Series("at", [instant(one) for one in at], pl.Datetime("us", "UTC"))
        column = "tank" if kind == "charge" else kind
        frame = moments.to_frame().with_columns(
            pl.lit(item).alias(column),
            subject=pl.lit(item),
            item=pl.lit(item),
            until=pl.col("at"),
            record=pl.lit(None, pl.String),
        )
        return _with_places(frame)

    def found(self, kind: str, name: str, subjects: pl.DataFrame) -> pl.DataFrame:
        """Return a fact of subjects, as ``fact`` and ``evidence``."""
        found = CATALOGUE.group_of(kind, name).find(subjects, self.past)
        assert found.height == subjects.height
        if "evidence" not in found.columns:
            found = found.with_columns(pl.lit(None, pl.String).alias("evidence"))
        return found.select(pl.col(name).alias("fact"), "evidence")

    def of_events(self, kind: str, name: str, until: str | None = None) -> list[Any]:
        """Return a fact of all records of a kind, in the order of (item, at, record)."""
        return self.found(kind, name, self.events(kind, until))["fact"].to_list()

    def of(self, kind: str, item: str, name: str, *at: str) -> Any:
        """Return a fact of a thing, at one instant, or a list of it at several."""
        facts = self.found(kind, name, self.thing(kind, item, *at))["fact"].to_list()
        return facts if len(at) > 1 else facts[0]

    def evidence(self, kind: str, item: str, name: str, at: str) -> str | None:
        """Return the record that a fact of a thing came from."""
        found = self.found(kind, name, self.thing(kind, item, at))
        return found["evidence"].item()  # type: ignore[no-any-return]


def _day(written: Any) -> date | None:
    return date.fromisoformat(written) if isinstance(written, str) else written


def _with_places(frame: pl.DataFrame) -> pl.DataFrame:
    lacking = [name for name in PLACES if name not in frame.columns]
    return frame.with_columns(pl.lit(None, pl.String).alias(name) for name in lacking)


@pytest.fixture(scope="session")
def fleet_of():
    """Return the maker of fleets: records, the operator's zone, and the tables of the register."""

    def make(
        records: Iterable[Mapping[str, Any]],
        zone: str = "UTC",
        models: Iterable[ResinModel] = (),
        **tables: list[Mapping[str, Any]],
    ) -> Fleet:
        return Fleet(tuple(records), tables, zone, {model.grade.name: model for model in models})

    return make
