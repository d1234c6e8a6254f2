"""Nothing looks ahead: taking away later records, one or all, changes no fact of any subject.

All facts are asked that rules may name, those of plugins and those learnt from readings among
them, of every kind of subject, as an inspection asks them. Only facts that declare that they look
ahead are left out. Histories are such as crews log: beds run dry, are changed, topped up and read.
"""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import polars as pl
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from polars.testing import assert_frame_equal

from qa_engine.facts import ENGINE_FACTS, SUBJECTS
from qa_engine.facts.catalogue import Catalogue
from qa_engine.facts.past import Past
from qa_engine.fields import Day, Identifier, Quantity, Word, YesNo
from qa_engine.history import History
from qa_engine.plugin_host import installed_plugins, open_host
from qa_engine.records import KINDS
from qa_engine.register import TABLES
from qa_engine.subjects import subjects_of

BEGIN = datetime(2026, 3, 27, 6, tzinfo=UTC)
STEP = timedelta(hours=7)
STEPS = 14
END = BEGIN + STEPS * STEP

GRADES = ("standard mixed bed", "regenerated mixed bed", "two-bed", "softening", "kelp blend")
IDS = {
    "van": ("V1", "V2"),
    "tank": ("T1", "T2"),
    "meter": ("M1", "M2"),
    "base": ("B1",),
    "source": ("tap", "well"),
    "grade": GRADES,
    "vehicle_class": ("car", "coach"),
    "item": ("V1", "T1", "T2", "M1"),
}
USUAL = {
    "inlet_tds": (150.0, 200.0, 240.0),
    "outlet_tds": (0.0, 1.0, 6.0, 25.0, 140.0),
    "outlet_conductivity": (0.0, 12.0, 60.0),
    "resin_volume": (2.0, 3.0),
    "water_used": (60.0, 180.0, 400.0),
    "rinses": (1.0, 2.0),
    "sampled": ("flowing", "flowing", "first flush"),
    "alkalinity": (60.0, 120.0),
}
"""What records say of these, so that beds are used up, and their outlets show it."""

MORE_OFTEN = ("resin_change", *("rinse", "reading") * 3) * 3
MORE_OFTEN += ("seal_service", "vessel_service", "incident") * 3
KINDS_DRAWN = (*KINDS, *MORE_OFTEN)
MOST = 240
"""How many records a history has at the most; each has 3 of 4 of its fields."""

TABLE_ROWS = {
    "tanks": [
        {
            "tank": "T1",
            "van": "V1",
            "vessel_volume": 5.0,
            "bore": 150.0,
            "freeboard_min": 50.0,
            "freeboard_max": 100.0,
            "rated_pressure": 600.0,
            "rated_temperature": 40.0,
            "construction": "wound glass fibre",
        },
        {"tank": "T1", "from": "2026-03-29", "van": "V2", "vessel_volume": 6.0},
        {
            "tank": "T2",
            "van": "V2",
            "position": "polish",
            "after_tank": "T1",
            "no_examination_by": "an authority",
            "no_examination_document": "a letter",
        },
    ],
    "vans": [{"van": "V1", "base": "B1"}, {"van": "V2", "time_zone": "Asia/Tokyo"}],
    "meters": [
        {"meter": "M1", "compensation": False, "factor": 0.5, "resolution": 1.0},
        {
            "meter": "M2",
            "compensation": True,
            "accuracy_percent": 2.0,
            "accuracy_digits": 1.0,
            "resolution": 1.0,
            "factor": 0.5,
        },
    ],
    "vehicle_classes": [{"vehicle_class": "car", "water_per_rinse": 50.0}],
}


def value(name, field, rng):
    """Return what a record says in a field."""
    if name in USUAL:
        return rng.choice(USUAL[name])
    match field:
        case Quantity():
            return float(rng.choice([n for n in (0, 1, 7, 30) if field.low <= n <= field.high]))
        case YesNo():
            return rng.random() < 0.5
        case Word():
            return rng.choice(field.words)
        case Day():
            return (BEGIN + timedelta(days=rng.randint(-9, 30))).date()
        case Identifier():
            return rng.choice(IDS.get(name, ("a", "b")))
    return "words"


def record_of(rng):
    kind = rng.choice(KINDS_DRAWN)
    fields = KINDS[kind].fields
    row = {
        name: value(name, field, rng)
        for name, field in fields.items()
        if name not in ("record", "kind", "at")
        and (name == KINDS[kind].item or rng.random() < 0.75)
    }
    return {**row, "kind": kind, "at": BEGIN + rng.randint(0, STEPS) * STEP}


def history_of(records, register):
    """Return the history of records, each with its number for an id."""
    frames = {}
    for kind in {record["kind"] for _, record in records}:
        schema = {name: field.dtype for name, field in KINDS[kind].fields.items()}
        schema["entered_at"] = schema["at"]
        rows = [
            {**r, "record": f"R{n:03}", "entered_at": r["at"] + n % 5 * STEP}
            for n, r in records
            if r["kind"] == kind
        ]
        frames[kind] = pl.DataFrame(rows, schema=schema)
    return History.of_records(frames, register)


def facts_until(until, history, host, catalogue):
    """Return the facts of all subjects up to an instant, by kind of subject and group."""
    past = Past(history, host.models, END)
    found = {}
    for kind in SUBJECTS:
        subjects = subjects_of(kind, past, by_day=True).with_columns(until=pl.lit(END))
        asked = subjects.filter(pl.col("at") <= until)
        found[kind, "subjects"] = asked
        for number, group in enumerate(catalogue.groups):
            if kind in group.subjects and not group.looks_ahead:
                # All are asked together, as they are in an inspection; only the early ones count.
                facts = group.find(subjects, past)
                found[kind, number] = facts.filter(subjects["at"] <= until)
    return found


@pytest.fixture(scope="module")
def register(fleet_of):
    register = fleet_of([], zone="Europe/Berlin", **TABLE_ROWS).register
    tables = {name: register.table(name) for name in TABLES}
    return replace(register, tables=tables)


@pytest.fixture(scope="module")
def host():
    return open_host(installed_plugins())


# Each example asks for all facts three times; to look for a smaller failing one would take minutes.
FEW = settings(deadline=None, derandomize=True, max_examples=4, phases=[Phase.generate])


def test_taking_away_later_records_changes_no_fact(register, host):
    catalogue = Catalogue.of((*ENGINE_FACTS, *host.groups))
    seen = set()

    @FEW
    @given(rng=st.randoms(use_true_random=True), size=st.integers(MOST // 2, MOST))
    def law(rng, size):
        numbered = [(n, record_of(rng)) for n in range(size)]
        then = BEGIN + rng.randint(STEPS // 3, STEPS - 1) * STEP
        later = [n for n, record in numbered if record["at"] > then]
        whole = facts_until(then, history_of(numbered, register), host, catalogue)
        # That one record changes nothing follows where all of them change nothing in any history;
        # all of them show a look ahead at once, one of them only now and then.
        for gone in (later, rng.sample(later, 1)):
            kept = [(n, record) for n, record in numbered if n not in gone]
            less = facts_until(then, history_of(kept, register), host, catalogue)
            assert whole.keys() == less.keys()
            for key, facts in whole.items():
                assert_frame_equal(facts, less[key], check_exact=True)
        asked = {key: facts for key, facts in whole.items() if key[1] != "subjects"}
        for facts in asked.values():
            seen.update(n for n in facts.columns if facts[n].null_count() < facts.height)

    law()
    assert not host.wall.failures
    groups = (group for group in (*ENGINE_FACTS, *host.groups) if not group.looks_ahead)
    unseen = {fact.name for group in groups for fact in group.facts} - seen
    assert not unseen, "of these facts the histories never knew anything"
