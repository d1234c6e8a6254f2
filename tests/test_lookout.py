"""What the lookout judges anew comes to what a look at the whole book does."""

import random
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl
import pytest
from polars.testing import assert_frame_equal
from sqlalchemy import select

from qa_engine.book import create_book
from qa_engine.book.lookout import Lookout, history_of, watching
from qa_engine.book.permission_body import body_of
from qa_engine.book.schema import findings
from qa_engine.cli.rule_files import rule_sources
from qa_engine.errors import BookError
from qa_engine.fields import Day, Identifier, Quantity, Word, YesNo
from qa_engine.inspection import Course
from qa_engine.permissions import DEVIATION_PERMIT, Permission
from qa_engine.plugin_host import installed_plugins
from qa_engine.records import KINDS
from qa_engine.register import TABLES, Register

NOW = datetime(2026, 5, 20, 15, tzinfo=UTC)
ZONE = ZoneInfo("Europe/Paris")
IDS = {
    "tank": ("T1", "T2", "T3", "T9"),
    "van": ("V1", "V2", "V9"),
    "meter": ("M1", "M2", "M9"),
    "base": ("B1", "B2"),
    "source": ("S1", "S2"),
    "item": ("V1", "T1", "T2", "M1"),
    "grade": ("mixed bed 1", "unheard of"),
    "vehicle_class": ("small", "large"),
}
TABLE = {
    "vans": [{"van": "V1", "base": "B1"}, {"van": "V2", "base": "B2", "time_zone": "UTC"}],
    "tanks": [
        {"tank": "T1", "van": "V1", "vessel_volume": 30.0, "bore": 200.0},
        {"tank": "T2", "van": "V1"},
        {"tank": "T2", "van": "V2", "from": date(2026, 5, 10)},
        {"tank": "T4", "van": "V2"},
    ],
    "meters": [{"meter": "M1", "factor": 0.5, "compensation": True, "resolution": 1.0}],
    "vehicle_classes": [{"vehicle_class": "small", "water_per_rinse": 25.0}],
    "sources": [{"source": "S1", "base": "B1"}],
}
RULES = rule_sources([])


def any_value(rng, field, name):
    if rng.random() < 0.3:
        return None
    if isinstance(field, Quantity):
        return float(rng.choice((0, 1, 5, 12, 31, 60, 180, 400)))
    if isinstance(field, YesNo):
        return rng.random() < 0.7
    if isinstance(field, Word):
        return rng.choice(field.words)
    if isinstance(field, Day):
        return date(2026, 5, 1) + timedelta(rng.randrange(60))
    return rng.choice(IDS.get(name, ("a", "b"))) if isinstance(field, Identifier) else None


def any_record(rng, record, kind=None):
    """Return a frame with a record of some kind, of some time in the last weeks or just now."""
    kind = kind or rng.choice((*KINDS, "reading", "rinse", "resin_change"))
    fields = KINDS[kind].fields
    row = {name: any_value(rng, field, name) for name, field in fields.items()}
    back = timedelta(minutes=rng.choice((-5, 0, 3, 3, 3, 90, 9_000, 50_000)) + rng.randrange(3))
    item = KINDS[kind].item
    row |= {"record": record, "kind": kind, "at": NOW - back, item: rng.choice(IDS[item])}
    return {kind: pl.DataFrame([row], schema={n: f.dtype for n, f in fields.items()})}


class House:
    """A book that things happen to, with one lookout that has been there all the time."""

    def __init__(self, book, seed):
        self.rng = random.Random(seed)
        self.book, self.records, self.keys = book, {}, 0
        self.lookout = Lookout(book, installed_plugins(), RULES)

    def entered(self):
        self.keys += 1
        return {"key": f"K{self.keys}", "entered_at": NOW, "entered_by": "P-01"}

    def add(self):
        frames = any_record(self.rng, f"R{len(self.records) + 1}")
        kind = next(iter(frames))
        self.records[frames[kind]["record"].item()] = kind
        self.book.add(frames, **self.entered())

    def correct(self):
        record, kind = self.rng.choice(sorted(self.records.items()))
        frames = any_record(self.rng, record, kind)
        self.book.correct(frames, reason="written wrongly", **self.entered())

    def something(self):
        self.rng.choice((self.add, self.add, self.add, self.correct))()

    def compare(self, as_of=NOW):
        kept = self.lookout.state(as_of)
        whole = Lookout(self.book, installed_plugins(), RULES).state(as_of)
        for name in ("findings", "due", "coverage", "tanks"):
            assert_frame_equal(getattr(kept, name), getattr(whole, name), check_exact=True)
        for name in ("tanks", "rinses"):
            assert_frame_equal(getattr(kept.forecast, name), getattr(whole.forecast, name))
        for name in ("left_eq", "fresh_eq", "load_eq_l"):
            one, other = getattr(kept.forecast, name), getattr(whole.forecast, name)
            np.testing.assert_array_equal(one, other)
        assert kept.forecast.notes == whole.forecast.notes
        assert kept.inspection.used == whole.inspection.used
        assert kept.inspection.later == whole.inspection.later
        assert kept.inspection.permissions == whole.inspection.permissions
        assert kept.entries == whole.entries


@pytest.fixture
def house(tmp_path, request):
    tables = {name: TABLES[name].frame(rows, ZONE) for name, rows in TABLE.items()}
    with create_book(
        tmp_path / "house.book",
        operator="Invented Rinsing",
        time_zone=ZONE.key,
        entered_at=NOW - timedelta(days=90),
        entered_by="P-01",
    ) as book:
        made = House(book, getattr(request, "param", 1))
        book.put_register(Register("Invented Rinsing", ZONE, tables), **made.entered())
        for _ in range(40):
            made.add()
        yield made


@pytest.fixture
def counted(monkeypatch):
    """Return a list that grows with each whole look at a book."""
    looks = []
    whole = watching.Lookout._whole

    def noted(self, as_of):
        looks.append(as_of)
        return whole(self, as_of)

    monkeypatch.setattr(watching.Lookout, "_whole", noted)
    return looks


@pytest.mark.parametrize("house", range(4), indirect=True)
def test_what_is_judged_anew_agrees_with_a_whole_look(house):
    house.lookout.state(NOW)
    for _ in range(4):
        for _ in range(house.rng.randrange(1, 4)):
            house.something()
            house.lookout.state(NOW)
        house.compare()


def test_one_record_after_another_never_asks_for_a_whole_look(house, counted):
    house.lookout.state(NOW)
    for _ in range(10):
        house.something()
        house.lookout.state(NOW)
    assert len(counted) == 1


def test_a_record_of_one_tank_has_no_other_tank_judged(house, monkeypatch):
    house.lookout.state(NOW)
    judged = set()
    part = Course.part

    def noted(self, batch, past, only=None, since=None):
        judged.update(only)
        return part(self, batch, past, only, since)

    monkeypatch.setattr(Course, "part", noted)
    row = {"record": "X1", "kind": "reading", "at": NOW, "tank": "T1", "van": "V1", "meter": "M1"}
    house.book.add({"reading": frame_of("reading", row)}, **house.entered())
    house.lookout.state(NOW)
    assert "T1" in judged
    assert judged.isdisjoint({"T2", "T3", "T4", "T9"})


def frame_of(kind, row):
    return pl.DataFrame([row], schema={n: f.dtype for n, f in KINDS[kind].fields.items()})


def test_a_record_of_later_counts_when_its_time_has_come(house):
    row = {"record": "X1", "kind": "reading", "at": NOW + timedelta(minutes=2), "tank": "T1"}
    house.book.add({"reading": frame_of("reading", row | {"outlet_tds": 900.0})}, **house.entered())
    before = house.lookout.state(NOW)
    assert before.inspection.later >= 1
    after = house.lookout.state(NOW + timedelta(minutes=3))
    assert after.inspection.used > before.inspection.used
    assert after.findings["evidence"].explode().is_in(["X1"]).any()
    assert not before.findings["evidence"].explode().is_in(["X1"]).any()


def test_a_permission_and_a_new_day_have_everything_judged(house, counted):
    house.lookout.state(NOW)
    house.book.put("permission", "DP-1", body_of(PERMIT), **house.entered())
    house.compare()
    assert len(counted) == 3  # the first look, the one for the permission, the comparison's own
    house.compare(NOW + timedelta(days=1))
    assert len(counted) == 5


PERMIT = Permission(
    permission="DP-1",
    type=DEVIATION_PERMIT,
    rule_set="rinse-water",
    rule=None,
    van=None,
    tank="T1",
    reason="the spare tank is away for examination",
    requested_by="P-07",
    approved_by="P-02",
    requested_on=date(2026, 4, 1),
    approved_on=date(2026, 4, 1),
    begins=date(2026, 4, 2),
    until=date(2026, 6, 1),
    longest_d=90,
    source="permissions.yaml",
    line=3,
    sha256="00",
)


def test_an_entry_that_rules_do_not_look_at_has_nothing_judged(house, monkeypatch, counted):
    before = house.lookout.state(NOW)
    monkeypatch.setattr(Course, "part", None)
    house.book.put("action", "A-1", {"what": "order seals"}, **house.entered())
    after = house.lookout.state(NOW)
    assert after.entries == before.entries + 1
    assert_frame_equal(after.findings, before.findings)
    assert len(counted) == 1


def test_many_records_at_once_are_a_reason_for_a_whole_look(house, counted, monkeypatch):
    house.lookout.state(NOW)
    monkeypatch.setattr(watching, "MANY", 3)
    for _ in range(4):
        house.add()
    house.compare()
    assert len(counted) == 3


def test_a_finding_is_explained_from_its_own_tank_alone(house):
    state = house.lookout.state(NOW)
    whole = Lookout(house.book, installed_plugins(), RULES)
    for finding in state.findings["finding"].head(4):
        mine = house.lookout.explained(finding, state)
        assert mine == whole.explained(finding, whole.state(NOW))


def outlet(record, mg_l, minutes):
    row = {"record": record, "kind": "reading", "at": NOW - timedelta(minutes=minutes)}
    row |= {"tank": "T4", "van": "V2", "outlet_tds": mg_l, "inlet_tds": 300.0, "sampled": "flowing"}
    return {"reading": frame_of("reading", row)}


STOP = "rinse-water/outlet-below-stop-limit/reading/X1"


def test_the_book_remembers_when_a_finding_came_and_went(house):
    house.lookout.state(NOW)
    assert history_of(house.book, STOP) == []
    came = house.book.add(outlet("X1", 80.0, 30), **house.entered()).first_entry
    house.lookout.state(NOW + timedelta(seconds=1))
    house.book.add(outlet("X2", 2.0, 20), **house.entered())
    house.lookout.state(NOW + timedelta(seconds=2))
    house.book.correct(outlet("X1", 8.0, 30), reason="a digit too many", **house.entered())
    house.lookout.state(NOW + timedelta(seconds=3))
    stood, closed = history_of(house.book, STOP)
    assert (stood.seen_at, stood.gone_at) == tuple(NOW + timedelta(seconds=s) for s in (1, 2))
    assert (stood.seen_from, stood.seen_until) == (came, came + 1)
    assert (stood.body["stands"], stood.body["closed_at"]) == (True, None)
    assert stood.body["outcome"] == "does not conform"
    assert (closed.seen_at, closed.gone_at) == tuple(NOW + timedelta(seconds=s) for s in (2, 3))
    assert closed.body["closed_by"] == ["X2"]


def test_another_process_adds_nothing_to_what_is_remembered(house):
    house.book.add(outlet("X1", 80.0, 30), **house.entered())
    house.lookout.state(NOW)
    again = Lookout(house.book, installed_plugins(), RULES)
    again.state(NOW + timedelta(minutes=1))
    house.book.add(outlet("X2", 90.0, 20), **house.entered())
    again.state(NOW + timedelta(minutes=2))
    house.lookout.state(NOW + timedelta(minutes=3))
    assert len(history_of(house.book, STOP)) == 1
    with house.book.reading() as held:
        standing = held.execute(select(findings.c.finding).where(findings.c.seen_until.is_(None)))
        found = sorted(standing.scalars())
    assert found == sorted(house.lookout.state(NOW + timedelta(minutes=3)).findings["finding"])


def _refused(book):
    raise BookError("the disk is full")


def test_a_book_that_cannot_be_written_is_judged_all_the_same(house, monkeypatch):
    house.lookout.state(NOW)
    house.book.add(outlet("X1", 80.0, 30), **house.entered())
    with monkeypatch.context() as broken:
        broken.setattr(type(house.book), "writing", _refused)
        assert house.lookout.state(NOW).findings["finding"].is_in([STOP]).any()
    assert history_of(house.book, STOP) == []
    house.book.add(outlet("X2", 90.0, 20), **house.entered())
    house.lookout.state(NOW)
    assert len(history_of(house.book, STOP)) == 1


def test_a_clock_that_is_a_little_behind_forgets_no_record(house):
    row = {"record": "X1", "kind": "reading", "at": NOW, "tank": "T1", "outlet_tds": 900.0}
    house.book.add({"reading": frame_of("reading", row)}, **house.entered())
    ahead = house.lookout.state(NOW)
    house.book.add(outlet("X2", 2.0, 20), **house.entered())
    behind = house.lookout.state(NOW - timedelta(seconds=1))
    assert behind.inspection.used == ahead.inspection.used + 1
    assert behind.as_of == NOW
    house.compare()
