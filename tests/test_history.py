"""Looking back and ahead in the records: the last row before, the first row after, by item."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qa_engine.history import History, following, latest, logged_van, valid_rows
from qa_engine.register import TABLES, Register

INSTANT = pl.Datetime("us", "UTC")
ROWS = st.lists(st.tuples(st.sampled_from(["A", "B", "C", None]), st.integers(0, 6)), max_size=12)


def hour(count: float) -> datetime:
    return datetime(2026, 3, 1, tzinfo=UTC) + timedelta(hours=count)


def frame(rows, **columns):
    schema = {"tank": pl.String(), "at": INSTANT, **columns}
    return pl.DataFrame(rows, schema=schema, orient="row")


def placed(rows):
    """Return rows of (tank, hour) as a frame, with their place as what can be taken."""
    numbered = [(tank, hour(at), place) for place, (tank, at) in enumerate(rows)]
    return frame(numbered, place=pl.Int64())


def in_order(rows):
    return sorted(rows, key=lambda row: (row[0] or "", row[1]))


@settings(deadline=None, max_examples=100)
@given(asked=ROWS, rows=ROWS, sorted_left=st.booleans(), sorted_right=st.booleans())
def test_latest_is_the_last_row_of_the_item_at_or_before(asked, rows, sorted_left, sorted_right):
    asked = in_order(asked) if sorted_left else asked
    rows = in_order(rows) if sorted_right else rows
    expected = []
    for tank, at in asked:
        earlier = [(a, p) for p, (t, a) in enumerate(rows) if t == tank and t and a <= at]
        expected.append(max(earlier)[1] if earlier else None)
    found = latest(placed(asked), placed(rows), by="tank", take=["place"])
    assert found["place"].to_list() == expected


@settings(deadline=None, max_examples=100)
@given(asked=ROWS, rows=ROWS, wait=st.integers(0, 4))
def test_following_is_the_first_row_of_the_item_after_and_in_time(asked, rows, wait):
    expected = []
    for tank, at in asked:
        later = [(a, p) for p, (t, a) in enumerate(rows) if t == tank and t and at < a <= at + wait]
        expected.append(min(later)[1] if later else None)
    subjects = placed(asked).with_columns(until=pl.col("at") + pl.duration(hours=wait))
    found = following(subjects, placed(rows), by="tank", take=["place"])
    assert found["place"].to_list() == expected


def test_the_instant_itself_can_be_taken():
    subjects = placed([("A", 3)]).with_columns(until=pl.lit(hour(9)))
    rows = placed([("A", 2), ("A", 5)])
    assert latest(subjects, rows, by="tank", take=["at"])["at"].to_list() == [hour(2)]
    assert following(subjects, rows, by="tank", take=["at"])["at"].to_list() == [hour(5)]


def test_what_is_taken_keeps_its_type_where_nothing_is_found():
    found = latest(placed([("A", 1), ("B", 1)]), placed([]), by="tank", take=["place"])
    assert found.schema == {"place": pl.Int64}
    assert found["place"].to_list() == [None, None]


ZONE = ZoneInfo("Europe/Vienna")
PLATES = [
    {"tank": "T1", "rated_pressure": 600.0},
    {"tank": "T1", "rated_pressure": 500.0, "from": datetime(2026, 3, 1).date()},  # noqa: DTZ001
]


@pytest.mark.parametrize(
    ("at", "expected"),
    [
        (datetime(2026, 2, 28, 22, 59, 59, tzinfo=UTC), 600.0),
        (datetime(2026, 2, 28, 23, 0, tzinfo=UTC), 500.0),  # midnight in Vienna
    ],
)
def test_a_later_register_row_takes_over_when_its_day_starts(at, expected):
    register = Register("Invented Rinsing", ZONE, {"tanks": TABLES["tanks"].frame(PLATES, ZONE)})
    found = valid_rows(frame([("T1", at)]), register, "tanks", ["rated_pressure"])
    assert found["rated_pressure"].to_list() == [expected]


def test_a_single_register_row_holds_from_its_day_on_and_for_its_own_id_only():
    """A row per id takes another way through the register than several do."""
    register = Register(
        "Invented Rinsing", ZONE, {"tanks": TABLES["tanks"].frame(PLATES[1:], ZONE)}
    )
    asked = frame([("T1", hour(0)), ("T1", hour(-2)), ("T2", hour(0)), (None, hour(0))])
    found = valid_rows(asked, register, "tanks", ["rated_pressure", "holds_from"])
    assert found["rated_pressure"].to_list() == [500.0, None, None, None]
    assert found["holds_from"].to_list() == [hour(-1), None, None, None]


def history_of(**kinds):
    named = {"record": pl.String(), "van": pl.String()}
    frames = {kind: frame(rows, **named) for kind, rows in kinds.items()}
    return History.of_records(frames, Register("Invented Rinsing", ZONE, {}))


def test_the_van_of_a_tank_is_the_one_that_last_logged_it():
    history = history_of(
        rinse=[("T1", hour(1), "R1", "V1"), ("T1", hour(3), "R2", None)],
        reading=[("T1", hour(2), "R3", "V2"), ("T1", hour(9), "R4", "V3")],
    )
    asked = frame([("T1", hour(0)), ("T1", hour(1)), ("T1", hour(3)), ("T2", hour(3))])
    assert logged_van(asked, history).to_list() == [None, "V1", "V2", None]


def test_of_two_vans_that_logged_a_tank_at_one_instant_the_last_id_counts():
    history = history_of(rinse=[("T1", hour(1), "R2", "V1")], reading=[("T1", hour(1), "R1", "V2")])
    assert logged_van(frame([("T1", hour(1))]), history).to_list() == ["V1"]


def test_blocks_hold_whole_tanks_and_every_record_once():
    rows = [(f"T{tank}", hour(at), f"R{tank}-{at}", "V1") for tank in range(5) for at in range(4)]
    history = history_of(rinse=rows, seal_service=[("T2", hour(1), "S1", "V1")])
    blocks = list(history.blocks(2))
    tanks = [block.tanks().to_list() for block in blocks]
    assert tanks == [["T0", "T1", "T2"], ["T3", "T4"]]
    assert pl.concat(block.frames["rinse"] for block in blocks).equals(history.frames["rinse"])
    assert [block.frames["seal_service"].height for block in blocks] == [1, 0]
