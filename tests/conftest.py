"""A small fleet for tests: records and register rows as plain dicts, and its facts by name."""

import os
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from functools import cache, cached_property
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path
from types import ModuleType
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl
import pytest

from qa_engine.depletion import ResinModel
from qa_engine.depletion.model import Floats
from qa_engine.facts import ENGINE_FACTS
from qa_engine.facts.catalogue import Catalogue
from qa_engine.facts.past import Past
from qa_engine.forecast.outcome import RINSES, TANKS, Forecast
from qa_engine.history import History
from qa_engine.records import KINDS
from qa_engine.register import TABLES, Register

CATALOGUE = Catalogue.of(ENGINE_FACTS)
BROWSER_REQUIRED = os.environ.get("QA_BROWSER") == "required"
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


@dataclass(frozen=True)
class SteadyDemand:
    """Stands for a tank's demand: the same water on every day, a row per tank [L]."""

    litres_a_day: Floats
    days: int

    def litres(self, rows: Any = None) -> Floats:
        """Return the water of each day, shape (rows, 1 + days, scenarios)."""
        some = self.litres_a_day[slice(None) if rows is None else rows]
        return np.repeat(some[:, np.newaxis], 1 + self.days, axis=1)


@pytest.fixture(scope="session")
def forecast_of():
    """Return the maker of forecasts: tanks as dicts with their scenarios, as of 2 March 2026.

    A tank has ``left`` and ``fresh`` [eq], ``load`` [eq/L] and ``drawn`` [L a day], each a list
    with a member per scenario or one for all, and any column of ``Forecast.tanks``.
    """

    def make(*tanks: Mapping[str, Any], days: int = 28) -> Forecast:
        rows = sorted(({**USUAL_TANK, **tank} for tank in tanks), key=lambda row: row["tank"])
        count = max(np.size(row[name]) for row in rows for name in SCENARIOS)
        arrays = {
            name: np.array([np.broadcast_to(row[name], count) for row in rows], np.float64)
            for name in SCENARIOS
        }
        frame = pl.DataFrame(
            [{n: row.get(n) for n in TANKS if n not in SCENARIOS} for row in rows], schema=TANKS
        )
        return Forecast(
            instant("2026-03-02T06:00:00"),
            ZoneInfo("UTC"),
            days,
            frame,
            pl.DataFrame(schema=RINSES),
            arrays["left"],
            arrays["fresh"],
            arrays["load"],
            SteadyDemand(arrays["drawn"], days),  # type: ignore[arg-type]
        )

    return make


SCENARIOS = ("left", "fresh", "load", "drawn")
USUAL_TANK = {
    "tank": "T1",
    "van": "V1",
    "base": "north",
    "grade": "standard mixed bed",
    "resin_volume": 20.0,
    "litres_a_day": 100.0,
    "left": 1.0,
    "fresh": 4.0,
    "load": 0.004,
    "drawn": 100.0,
}


@cache
def from_bench(name: str) -> ModuleType:
    """Return a module of the bench, which lies on no path of imports."""
    spec = spec_from_file_location(name, Path(__file__).parent / "bench" / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def postgresql_server():
    """Return the URL of a PostgreSQL server that lasts as long as the tests."""
    with from_bench("databases").postgresql() as server:
        yield server


@pytest.fixture
def postgresql_url(postgresql_server):
    """Return the URL of an empty PostgreSQL database."""
    with from_bench("databases").database(postgresql_server) as url:
        yield url


@pytest.fixture(params=["sqlite", "postgresql"])
def book_url(request, tmp_path):
    """Return where a book can be made: a file, then an empty PostgreSQL database."""
    if request.param == "sqlite":
        return str(tmp_path / "fleet.book")
    return request.getfixturevalue("postgresql_url")


class BrowserTests:
    """Counts how the tests that need a browser went; here, where every worker reports."""

    passed = 0
    left_out = 0

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Count a report."""
        if "browser" in report.keywords:
            self.passed += report.when == "call" and report.passed
            self.left_out += report.skipped

    def pytest_sessionfinish(self, session: pytest.Session) -> None:
        """Fail a run that was to include them and did not."""
        if BROWSER_REQUIRED and (self.left_out or not self.passed):
            session.exitstatus = pytest.ExitCode.TESTS_FAILED

    def pytest_terminal_summary(self, terminalreporter: Any) -> None:
        """Say loudly that some were left out."""
        if self.left_out or (BROWSER_REQUIRED and not self.passed):
            told = f"BROWSER TESTS NOT RUN ({self.left_out}): they need Chromium, see README.md"
            terminalreporter.write_sep("=", told, red=True, bold=True)


def pytest_configure(config: pytest.Config) -> None:
    """Count tests that need a browser where the run is reported, not in its workers."""
    if not hasattr(config, "workerinput"):
        config.pluginmanager.register(BrowserTests(), "browser tests")
