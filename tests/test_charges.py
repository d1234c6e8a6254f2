"""Resin charges: when they begin and end, which one a subject falls in, how much resin is in it."""

import polars as pl
import pytest

from qa_engine.charges import charge_at, cut_charges, resin_so_far


def change(record, at, what="emptied and refilled", **fields):
    row = {"record": record, "kind": "resin_change", "at": at, "tank": "T1", "change": what}
    return row | fields


def rinse(record, at, **fields):
    return {"record": record, "kind": "rinse", "at": at, "tank": "T1"} | fields


def charges_of(fleet, *columns):
    return cut_charges(fleet.past.history).select(columns).rows()


def resin_of(fleet):
    history = fleet.past.history
    return resin_so_far(history, cut_charges(history))["resin_volume"].to_list()


def asked(*rows):
    """Return subjects of (tank, instant)."""
    frame = pl.DataFrame(rows, schema=["tank", "at"], orient="row")
    return frame.with_columns(pl.col("at").str.to_datetime(time_unit="us", time_zone="UTC"))


@pytest.mark.parametrize(
    "what", ["emptied and refilled", "tank exchanged", "regenerated elsewhere"]
)
def test_a_change_of_the_resin_begins_a_charge(fleet_of, what):
    fleet = fleet_of(
        [change("C1", "2026-03-01", what, grade="two-bed", lot="L7", resin_volume=14.0)]
    )
    found = charges_of(fleet, "charge", "number", "record", "grade", "lot", "resin_volume", "known")
    assert found == [("T1@C1", 1, "C1", "two-bed", "L7", 14.0, True)]


def test_a_top_up_does_not_end_a_charge(fleet_of):
    fleet = fleet_of(
        [
            change("C1", "2026-03-01", grade="two-bed"),
            change("C2", "2026-04-01", "topped up", grade="softening"),
        ]
    )
    assert charges_of(fleet, "charge", "grade", "ends") == [("T1@C1", "two-bed", None)]


def test_a_charge_ends_where_the_next_one_begins(fleet_of):
    fleet = fleet_of([change("C1", "2026-03-01"), change("C2", "2026-04-01")])
    (_, ends), (begins, _) = charges_of(fleet, "begins", "ends")
    assert ends == begins


def test_what_was_in_a_tank_before_its_first_change_is_the_charge_at_the_start(fleet_of):
    fleet = fleet_of([rinse("R1", "2026-02-01"), change("C1", "2026-03-01", grade="two-bed")])
    found = charges_of(fleet, "charge", "number", "begins", "record", "grade", "known")
    assert found[0] == ("T1@start", 0, None, None, None, False)
    assert [row[0] for row in found] == ["T1@start", "T1@C1"]


def test_a_tank_never_changed_has_only_the_charge_at_the_start(fleet_of):
    assert charges_of(fleet_of([rinse("R1", "2026-02-01")]), "charge") == [("T1@start",)]


def test_a_tank_first_recorded_by_its_change_has_no_charge_at_the_start(fleet_of):
    fleet = fleet_of([change("C1", "2026-03-01"), rinse("R1", "2026-03-01")])
    assert charges_of(fleet, "charge") == [("T1@C1",)]


def test_a_change_that_does_not_say_what_was_done_begins_a_charge_that_is_not_known(fleet_of):
    fleet = fleet_of([change("C1", "2026-03-01", None, grade="two-bed", resin_volume=14.0)])
    assert charges_of(fleet, "charge", "number", "known") == [("T1@C1", 1, False)]
    assert resin_of(fleet) == [None]


def test_a_tank_keeps_its_charge_when_it_moves_to_another_van(fleet_of):
    fleet = fleet_of(
        [
            change("C1", "2026-03-01", van="V1"),
            rinse("R1", "2026-03-02", van="V1"),
            rinse("R2", "2026-03-03", van="V2"),
        ]
    )
    rinses = fleet.past.history.of("rinse", "tank", "at")
    charges = cut_charges(fleet.past.history)
    assert charge_at(rinses, charges)["charge"].to_list() == ["T1@C1", "T1@C1"]


def test_each_tank_has_its_own_charges(fleet_of):
    fleet = fleet_of(
        [
            change("C1", "2026-03-01"),
            change("C2", "2026-03-02", tank="T2"),
            change("C3", "2026-03-03"),
        ]
    )
    found = charges_of(fleet, "charge", "number")
    assert found == [("T1@C1", 1), ("T1@C3", 2), ("T2@C2", 1)]


def test_the_instant_of_a_change_belongs_to_the_charge_it_begins(fleet_of):
    fleet = fleet_of(
        [rinse("R1", "2026-02-01"), change("C1", "2026-03-01"), change("C2", "2026-04-01")]
    )
    subjects = asked(
        ("T1", "2026-01-31T00:00:00"),
        ("T1", "2026-02-28T23:59:59"),
        ("T1", "2026-03-01T00:00:00"),
        ("T1", "2026-03-31T23:59:59"),
        ("T1", "2026-04-01T00:00:00"),
        ("T9", "2026-04-01T00:00:00"),
    )
    found = charge_at(subjects, cut_charges(fleet.past.history))
    expected = [None, "T1@start", "T1@C1", "T1@C1", "T1@C2", None]
    assert found["charge"].to_list() == expected
    assert found["number"].to_list() == [0, 0, 1, 1, 2, 0]
    assert found["known"].to_list() == [False, False, True, True, True, False]


def test_two_changes_at_one_instant_each_begin_their_own_charge(fleet_of):
    fleet = fleet_of([change("C2", "2026-03-01"), change("C1", "2026-03-01")])
    charges = cut_charges(fleet.past.history)
    changes = fleet.past.history.of("resin_change", "tank", "at", "record")
    assert charge_at(changes, charges)["charge"].to_list() == ["T1@C1", "T1@C2"]
    others = changes.with_columns(record=pl.lit("R1"))
    assert charge_at(others, charges)["charge"].to_list() == ["T1@C2", "T1@C2"]


def test_a_subject_with_a_charge_is_taken_at_its_word(fleet_of):
    fleet = fleet_of([change("C1", "2026-03-01"), change("C2", "2026-03-01")])
    charges = cut_charges(fleet.past.history)
    found = charge_at(charges.select("charge", "tank", at="begins"), charges)
    assert found["number"].to_list() == [1, 2]


def test_nothing_recorded_gives_no_charges(fleet_of):
    fleet = fleet_of([])
    charges = cut_charges(fleet.past.history)
    assert charges.height == 0
    assert charge_at(asked(("T1", "2026-03-01T00:00:00")), charges)["number"].to_list() == [0]


def test_top_ups_add_to_the_resin_from_their_instant_on(fleet_of):
    """14 L, then 14 + 1.5 = 15.5 L, then 15.5 + 0.5 = 16 L; a new charge of 12 L."""
    fleet = fleet_of(
        [
            change("C1", "2026-03-01", resin_volume=14.0),
            change("C2", "2026-03-02", "topped up", resin_volume=1.5),
            change("C3", "2026-03-03", "topped up", resin_volume=0.5),
            change("C4", "2026-03-04", resin_volume=12.0),
        ]
    )
    assert resin_of(fleet) == [14.0, 15.5, 16.0, 12.0]


def test_a_filling_of_unknown_volume_makes_the_resin_unknown_until_the_next_change(fleet_of):
    fleet = fleet_of(
        [
            change("C1", "2026-03-01", resin_volume=14.0),
            change("C2", "2026-03-02", "topped up"),
            change("C3", "2026-03-03", "topped up", resin_volume=0.5),
            change("C4", "2026-03-04", resin_volume=12.0),
        ]
    )
    assert resin_of(fleet) == [14.0, None, None, 12.0]


def test_a_top_up_of_a_charge_that_began_before_the_records_tells_no_volume(fleet_of):
    assert resin_of(fleet_of([change("C1", "2026-03-02", "topped up", resin_volume=1.5)])) == [None]


def test_a_top_up_at_the_instant_of_a_change_adds_to_the_new_charge(fleet_of):
    """The change C2 loads 12 L and the top-up C1 at the same instant 2 L: 14 L."""
    fleet = fleet_of(
        [
            change("C0", "2026-03-01", resin_volume=10.0),
            change("C1", "2026-03-02", "topped up", resin_volume=2.0),
            change("C2", "2026-03-02", resin_volume=12.0),
        ]
    )
    assert resin_of(fleet)[-1] == 14.0
