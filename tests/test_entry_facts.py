"""Late entries: how long after it happened a record came into the book."""

from datetime import UTC, datetime, timedelta

import polars as pl

from qa_engine.book import create_book
from qa_engine.facts.entry_facts import ENTRY_FACTS
from qa_engine.facts.fact import EVENT_SUBJECTS
from qa_engine.facts.past import Past
from qa_engine.history import History
from qa_engine.records import KINDS

BEGAN = datetime(2026, 3, 1, 8, tzinfo=UTC)


def test_a_record_from_a_file_does_not_say_when_it_was_entered(fleet_of):
    fleet = fleet_of([{"kind": "reading", "tank": "T1", "at": "2026-03-01T08:00"}])
    assert fleet.of_events("reading", "entered_after") == [None]


def test_every_kind_of_record_can_be_late(fleet_of):
    assert [group.subjects for group in ENTRY_FACTS] == [(kind,) for kind in EVENT_SUBJECTS]
    records = [{"kind": k, KINDS[k].item: "X", "at": "2026-03-01T08:00"} for k in EVENT_SUBJECTS]
    fleet = fleet_of(records)
    assert [fleet.of_events(kind, "entered_after") for kind in EVENT_SUBJECTS] == [
        [None] for _ in EVENT_SUBJECTS
    ]


def test_a_record_of_a_book_is_as_late_as_the_time_between_its_instant_and_its_entry(tmp_path):
    frame = pl.DataFrame(
        [
            {"record": "R1", "at": BEGAN, "tank": "T1"},
            {"record": "R2", "at": BEGAN + timedelta(hours=5), "tank": "T1"},
            {"record": "R3", "at": BEGAN, "tank": "T2"},
        ],
        schema_overrides={"at": pl.Datetime("us", "UTC")},
    )
    with create_book(
        tmp_path / "f.book", operator="x", time_zone="UTC", entered_at=BEGAN, entered_by="P1"
    ) as book:
        at = BEGAN + timedelta(hours=2)
        book.add({"reading": frame}, key="a", entered_at=at, entered_by="P1")
        book.correct(
            {"reading": frame.tail(1).with_columns(outlet_tds=1.0)},
            key="b",
            entered_at=BEGAN + timedelta(days=90),
            entered_by="P1",
            reason="digits swapped",
        )
        history = History.of_records(book.frames(entered=True), book.register())
    past = Past(history, {}, BEGAN + timedelta(days=99))
    subjects = history.of("reading", "record", "at", "tank").sort("tank", "at")
    found = ENTRY_FACTS[EVENT_SUBJECTS.index("reading")].find(subjects, past)
    # R1 two hours late, R2 entered three hours before it is said to have happened; R3 was corrected
    # after ninety days, which does not make it late.
    assert found["entered_after"].to_list() == [2.0, -3.0, 2.0]
    assert found["evidence"].to_list() == ["R1", "R2", "R3"]
