"""How much spent resin a base holds, and for how long."""

import pytest

VANS = [{"van": "V1", "base": "B1"}, {"van": "V2", "base": "B2"}]


def change(at, litres, kind="emptied and refilled", **more):
    return {
        "kind": "resin_change", "tank": "T1", "van": "V1", "at": at, "change": kind,
        "resin_volume": litres, **more,
    }  # fmt: skip


def disposal(at, litres, base="B1"):
    return {"kind": "disposal", "base": base, "at": at, "resin_volume": litres}


def loaded(litres=14.0, **more):
    """Return the first charge of a tank, which leaves nothing behind: the tank came filled."""
    return change("2026-01-01", litres, "tank exchanged", **more)


@pytest.fixture
def held_of(fleet_of):
    def held(records, *at, base="B1", **tables):
        fleet = fleet_of(records, **{"vans": VANS, **tables})
        names = ("spent_resin_held", "spent_resin_held_for")
        return tuple(fleet.of("base", base, name, *at) for name in names)

    return held


def test_a_base_without_any_change_holds_nothing(held_of):
    assert held_of([loaded()], "2026-02-01") == (0.0, 0.0)
    assert held_of([], "2026-02-01") == (0.0, 0.0)


def test_a_refill_leaves_what_the_ended_charge_held_top_ups_included(held_of):
    records = [loaded(14.0), change("2026-01-05", 1.5, "topped up"), change("2026-01-11", 13.0)]
    held, age = held_of(records, "2026-01-10", "2026-01-11", "2026-01-21T12:00")
    assert held == [0.0, 15.5, 15.5]
    assert age == [0.0, 0.0, 10.5]


def test_a_tank_that_goes_away_takes_its_resin_along(held_of):
    for kind in ("tank exchanged", "regenerated elsewhere", "topped up"):
        assert held_of([loaded(), change("2026-01-11", 14.0, kind)], "2026-02-01") == (0.0, 0.0)


def test_what_came_first_leaves_first(held_of):
    records = [
        loaded(10.0),
        change("2026-01-11", 12.0),  # leaves 10 L
        change("2026-01-21", 14.0),  # leaves 12 L
        disposal("2026-01-25", 10.0),
        disposal("2026-01-26", 5.0),
        disposal("2026-01-27", 7.0),
    ]
    days = [f"2026-01-{day}" for day in (22, 25, 26, 27)]
    held, age = held_of(records, *days)
    assert held == [22.0, 12.0, 7.0, 0.0]
    assert age == [11.0, 4.0, 5.0, 0.0]


def test_a_part_of_the_oldest_resin_that_stays_keeps_its_age(held_of):
    records = [loaded(10.0), change("2026-01-11", 12.0), disposal("2026-01-12", 9.5)]
    assert held_of(records, "2026-01-21") == (0.5, 10.0)


def test_a_disposal_of_more_than_there_is_owes_nothing(held_of):
    records = [
        loaded(10.0),
        change("2026-01-11", 12.0),
        disposal("2026-01-12", 50.0),
        change("2026-01-13", 14.0),
    ]
    assert held_of(records, "2026-01-15") == (12.0, 2.0)


def test_a_disposal_at_the_instant_of_a_refill_may_take_its_resin(held_of):
    records = [loaded(10.0), change("2026-01-11", 12.0), disposal("2026-01-11", 10.0)]
    assert held_of(records, "2026-01-12") == (0.0, 0.0)


def test_volumes_that_do_not_add_up_in_binary_leave_nothing(held_of):
    records = [loaded(0.1)]
    records += [change(f"2026-01-1{day}", 0.1) for day in range(3)]
    records.append(disposal("2026-01-20", 0.3))
    assert held_of(records, "2026-01-21") == (0.0, 0.0)


def test_the_base_is_that_of_the_van_that_did_the_change_at_the_time(held_of):
    vans = [*VANS, {"van": "V1", "from": "2026-01-20", "base": "B2"}]
    records = [
        loaded(10.0),
        change("2026-01-11", 12.0),
        change("2026-01-21", 14.0),
        change("2026-01-22", 14.0, van="V2"),
    ]
    assert held_of(records, "2026-02-01", vans=vans)[0] == 10.0
    assert held_of(records, "2026-02-01", base="B2", vans=vans)[0] == 12.0 + 14.0


def test_a_change_without_a_van_counts_where_the_register_has_the_tank(held_of):
    records = [loaded(10.0), change("2026-01-11", 12.0, van=None)]
    tanks = [{"tank": "T1", "van": "V2"}]
    assert held_of(records, "2026-01-12", base="B2", tanks=tanks) == (10.0, 1.0)


def test_a_volume_that_nobody_logged_makes_the_volume_unknown_but_not_the_age(held_of):
    records = [change("2026-01-11", 12.0), change("2026-01-21", 12.0)]
    # What was in the tank before the records began is not known; the 12 L after it are.
    assert held_of(records, "2026-01-12") == (None, None)
    held, age = held_of([loaded(10.0, tank="T2"), change("2026-01-05", 9.0, tank="T2"), *records],
                        "2026-01-25")  # fmt: skip
    assert held is None
    assert age == 20.0  # the resin of T2 is the oldest whatever T1 held


def test_doubt_ends_when_the_base_has_certainly_been_cleared(held_of):
    records = [
        change("2026-01-11", 12.0),
        disposal("2026-01-15", 29.0),
        disposal("2026-01-16", 1.0),
        change("2026-01-21", 12.0),
    ]
    tanks = [{"tank": "T1", "vessel_volume": 30.0}]
    held, age = held_of(records, "2026-01-15", "2026-01-16", "2026-01-22", tanks=tanks)
    assert held == [None, 0.0, 12.0]
    assert age == [None, 0.0, 1.0]


def test_a_disposal_without_a_volume_leaves_doubt(held_of):
    records = [loaded(10.0), change("2026-01-11", 12.0), disposal("2026-01-12", None)]
    assert held_of(records, "2026-01-13") == (None, None)
    assert held_of([*records, disposal("2026-01-14", 10.0)], "2026-01-15") == (0.0, 0.0)


def test_a_change_that_does_not_say_what_was_done_leaves_doubt(held_of):
    assert held_of([loaded(10.0), change("2026-01-11", 12.0, None)], "2026-01-13") == (None, None)


def test_one_base_does_not_answer_for_another(held_of):
    records = [loaded(10.0), change("2026-01-11", 12.0), disposal("2026-01-12", 10.0, "B2")]
    assert held_of(records, "2026-01-13") == (10.0, 2.0)
    assert held_of(records, "2026-01-13", base="B2") == (0.0, 0.0)


def test_the_evidence_is_the_refill_that_the_oldest_resin_stems_from(fleet_of):
    records = [
        loaded(10.0),
        change("2026-01-11", 12.0),
        change("2026-01-21", 14.0),
        disposal("2026-01-25", 10.0),
        disposal("2026-01-27", 12.0),
    ]
    fleet = fleet_of(records, vans=VANS)
    days = ("2026-01-22", "2026-01-26", "2026-01-28")
    evidence = [fleet.evidence("base", "B1", "spent_resin_held_for", day) for day in days]
    assert evidence == ["R2", "R3", "R5"]
