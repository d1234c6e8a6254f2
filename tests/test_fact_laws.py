"""What holds for every fact, whatever crews log: no look-ahead, no order of input, no blocks."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import polars as pl
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from qa_engine.facts import ENGINE_FACTS, SUBJECTS
from qa_engine.facts.past import Past
from qa_engine.fields import Day, Identifier, Quantity, Word, YesNo
from qa_engine.history import History
from qa_engine.records import KINDS, RECORD_FIELDS, TANK_KINDS
from qa_engine.register import TABLES

BEGIN = datetime(2026, 3, 27, tzinfo=UTC)
STEP = timedelta(hours=17)
LAST = 4
"""How many steps there are; few, so that records meet at one instant."""

IDS = {
    "van": ("V1", "V2", "V3"),
    "tank": ("T1", "T2", "T3"),
    "meter": ("M1", "M2"),
    "base": ("B1", "B2"),
    "item": ("V1", "T1", "T2", "M1"),
}
PLACES = ("van", "tank", "meter", "base", "source")

PERHAPS = {"incident_open", "examination_followed"}
PERHAPS |= {"van_known", "class_known", "source_known", "base_known"}
"""Facts that silence makes a no, but half evidence, or nothing named, unknown; they say so."""

# Every example asks for all facts, so looking for a smaller failing one would take minutes.
laws = settings(deadline=None, derandomize=True, max_examples=5, phases=[Phase.generate])


def values(name):
    """Return what may stand in a field, or nothing; few different values, so that they meet."""
    field = RECORD_FIELDS[name]
    if isinstance(field, Quantity):
        return st.none() | st.integers(0, 30).map(float)
    if isinstance(field, YesNo):
        return st.none() | st.booleans()
    if isinstance(field, Word):
        return st.none() | st.sampled_from(field.words)
    if isinstance(field, Day):
        return st.none() | st.integers(0, 30).map(lambda days: date(2026, 3, 20) + timedelta(days))
    if isinstance(field, Identifier):
        return st.none() | st.sampled_from(IDS.get(name, ("a", "b")))
    return st.none()


def records_of(kind):
    required = {KINDS[kind].item}
    fields = {
        name: st.sampled_from(IDS.get(name, ("a", "b"))) if name in required else values(name)
        for name in KINDS[kind].fields
        if name not in ("record", "kind", "at", "by", "note")
    }
    steps = st.integers(0, LAST).map(lambda step: BEGIN + step * STEP)
    return st.fixed_dictionaries({"kind": st.just(kind), "at": steps, **fields})


RECORDS = st.lists(st.one_of(*map(records_of, KINDS)), min_size=40, max_size=60)

TANKS = [
    {"tank": "T1", "van": "V1", "vessel_volume": 20.0},
    {"tank": "T1", "from": "2026-03-30", "van": "V2", "vessel_volume": 25.0},
    {"tank": "T2", "van": "V2"},
]
VANS = [{"van": "V1", "base": "B1"}, {"van": "V2", "base": "B2", "time_zone": "Asia/Tokyo"}]
METERS = [{"meter": "M1", "compensation": False}]


def history_of(records, register):
    """Return the history of numbered records, in the order given."""
    frames = {}
    for kind in {record["kind"] for _, record in records}:
        schema = {name: field.dtype for name, field in KINDS[kind].fields.items()}
        rows = [{**r, "record": f"R{n:02}"} for n, r in records if r["kind"] == kind]
        frames[kind] = pl.DataFrame(rows, schema=schema)
    return History.of_records(frames, register)


def events(kind, history, until):
    names = [name for name in KINDS[kind].fields if name != "kind"]
    frame = history.of(kind, *names).with_columns(
        subject=pl.col("record"), item=pl.col(KINDS[kind].item), until=pl.lit(until)
    )
    return completed(frame.filter(pl.col("at") <= until))


def things(kind, at, tanks=IDS["tank"]):
    item = "tank" if kind in ("tank", "charge") else kind
    ids = tanks if item == "tank" else IDS[item]
    frame = pl.DataFrame({item: ids, "subject": ids, "item": ids}).join(
        pl.DataFrame({"at": at}, schema={"at": pl.Datetime("us", "UTC")}), how="cross"
    )
    nothing = pl.lit(None, pl.String)
    return completed(frame.with_columns(until=pl.col("at"), record=nothing))


def completed(frame):
    lacking = [name for name in PLACES if name not in frame.columns]
    return frame.with_columns(pl.lit(None, pl.String).alias(name) for name in lacking)


def subjects(kind, history, until):
    if kind in KINDS:
        return events(kind, history, until)
    return things(kind, [BEGIN + step * STEP for step in range(LAST + 1)]).filter(
        pl.col("at") <= until
    )


def all_facts(history, until, asked=subjects, kinds=SUBJECTS):
    """Return every fact of every subject up to an instant, by kind and group."""
    past = Past(history, {}, until)
    return {
        (kind, number): group.find(asked(kind, history, until), past)
        for number, group in enumerate(ENGINE_FACTS)
        for kind in group.subjects
        if kind in kinds
    }


def assert_same(one, other):
    assert one.keys() == other.keys()
    for key, facts in one.items():
        assert facts.equals(other[key]), f"facts of {key}: {facts} {other[key]}"


@pytest.fixture(scope="module")
def register(fleet_of):
    tables = {"tanks": TANKS, "vans": VANS, "meters": METERS}
    register = fleet_of([], zone="Europe/Berlin", **tables).register
    return replace(register, tables={name: register.table(name) for name in TABLES})


@laws
@given(records=RECORDS, cut=st.integers(0, LAST))
def test_records_after_an_instant_change_no_fact_up_to_it(register, records, cut):
    until = BEGIN + cut * STEP
    numbered = list(enumerate(records))
    so_far = [(n, record) for n, record in numbered if record["at"] <= until]
    with_later = all_facts(history_of(numbered, register), until)
    assert_same(with_later, all_facts(history_of(so_far, register), until))


@laws
@given(records=RECORDS, data=st.data())
def test_the_order_of_the_records_changes_no_fact(register, records, data):
    until = BEGIN + LAST * STEP
    numbered = list(enumerate(records))
    shuffled = data.draw(st.permutations(numbered))
    assert_same(
        all_facts(history_of(numbered, register), until),
        all_facts(history_of(shuffled, register), until),
    )


@laws
@given(records=RECORDS, blocks=st.integers(1, 3))
def test_blocks_of_tanks_give_the_facts_of_the_whole(register, records, blocks):
    until = BEGIN + LAST * STEP
    history = history_of(list(enumerate(records)), register)
    kinds = (*TANK_KINDS, "tank", "charge")

    def of_block(kind, block, until):
        found = subjects(kind, block, until)
        return found.filter(pl.col("tank").is_in(block.tanks().implode()))

    whole = all_facts(history, until, of_block, kinds)
    parts = [all_facts(block, until, of_block, kinds) for block in history.blocks(blocks)]
    assert_same(whole, {key: pl.concat(part[key] for part in parts) for key in whole})


@laws
@given(records=RECORDS)
def test_every_fact_stands_beside_its_subject_in_its_type(register, records):
    until = BEGIN + LAST * STEP
    history = history_of(list(enumerate(records)), register)
    types = {"number": pl.Float64, "words": pl.String, "yes/no": pl.Boolean}
    for (kind, number), found in all_facts(history, until).items():
        assert found.height == subjects(kind, history, until).height
        for fact in ENGINE_FACTS[number].facts:
            column = found[fact.name]
            assert column.dtype == types[fact.type], (kind, fact.name)
            certain = fact.absent == "no" and fact.name not in PERHAPS
            assert not certain or column.null_count() == 0, (kind, fact.name)
            if fact.type == "number":
                inside = (column >= fact.low) & (column <= fact.high)
                assert inside.all(), (kind, fact.name)
