"""What the outlet last showed, how long ago, and what was rinsed since."""

import pytest


def reading(at, outlet=None, sampled="flowing", **more):
    return {
        "kind": "reading", "tank": "T1", "at": at, "outlet_tds": outlet, "sampled": sampled, **more
    }  # fmt: skip


def rinse(at, rinses=1.0, **more):
    return {"kind": "rinse", "tank": "T1", "at": at, "rinses": rinses, **more}


def change(at, kind="emptied and refilled", after=None):
    return {
        "kind": "resin_change", "tank": "T1", "at": at, "change": kind, "outlet_tds_after": after
    }  # fmt: skip


METERS = [{"meter": "M1", "factor": 0.5}, {"meter": "M2"}, {"meter": "M3", "factor": 0.0}]


def by_conductivity(at, us_cm, meter="M1", **more):
    return reading(at, outlet_conductivity=us_cm, meter=meter, **more)


def test_what_was_read_as_tds_is_what_was_shown_or_else_made_of_conductivity(fleet_of):
    fleet = fleet_of(
        [
            reading("2026-03-01", 7.0, outlet_conductivity=80.0, meter="M1"),
            by_conductivity("2026-03-02", 60.0),
            by_conductivity("2026-03-03", 60.0, "M2"),
            by_conductivity("2026-03-04", 60.0, "M3"),
            by_conductivity("2026-03-05", 60.0, "M9"),
            by_conductivity("2026-03-06", 60.0, None),
            reading("2026-03-07"),
        ],
        meters=METERS,
    )
    # 60 uS/cm times 0.5 mg/L per uS/cm; no factor, none in the register, no meter: unknown.
    assert fleet.of_events("reading", "outlet_as_tds") == [7.0, 30.0, None, None, None, None, None]


def test_conductivity_below_one_counts_as_one(fleet_of):
    levels = (0.06, 0.99, 1.0, 1.5)
    records = [by_conductivity(f"2026-03-0{n}", us) for n, us in enumerate(levels, 1)]
    fleet = fleet_of(records, meters=METERS)
    assert fleet.of_events("reading", "outlet_as_tds") == [0.5, 0.5, 0.5, 0.75]


def test_inlet_and_outlet_are_told_each_by_its_own(fleet_of):
    record = reading("2026-03-01", 7.0, inlet_conductivity=400.0, meter="M1")
    fleet = fleet_of([record], meters=METERS)
    assert fleet.of_events("reading", "inlet_as_tds") == [200.0]
    assert fleet.of_events("reading", "outlet_as_tds") == [7.0]


def test_the_last_outlet_may_be_told_by_conductivity(fleet_of):
    fleet = fleet_of(
        [reading("2026-03-01", 4.0), by_conductivity("2026-03-02", 70.0)], meters=METERS
    )
    assert fleet.of("tank", "T1", "last_outlet_tds", "2026-03-03") == 35.0
    assert fleet.of("tank", "T1", "last_outlet_age", "2026-03-03") == 1.0


def test_a_last_reading_that_cannot_be_told_as_tds_leaves_it_unknown(fleet_of):
    """The earlier 4 mg/L would claim too much."""
    records = [reading("2026-03-01", 4.0), by_conductivity("2026-03-02", 70.0, "M2")]
    fleet = fleet_of(records, meters=METERS)
    assert fleet.of("tank", "T1", "last_outlet_tds", "2026-03-03") is None
    assert fleet.evidence("tank", "T1", "last_outlet_tds", "2026-03-03") == "R2"


def test_what_was_read_after_a_change_is_the_first_value_of_its_charge(fleet_of):
    fleet = fleet_of(
        [
            change("2026-03-01", after=0.0),
            reading("2026-03-03", 25.0),
            change("2026-03-04", "topped up", after=3.0),
            change("2026-03-05"),
            change("2026-03-06", after=1.0),
        ]
    )
    days = [f"2026-03-0{day}" for day in (1, 2, 3, 4, 5, 6)]
    assert fleet.of("tank", "T1", "last_outlet_tds", *days) == [0.0, 0.0, 25.0, 25.0, None, 1.0]
    evidence = [fleet.evidence("tank", "T1", "last_outlet_tds", day) for day in days]
    assert evidence == ["R1", "R1", "R2", "R2", None, "R5"]


def test_the_last_outlet_is_that_of_the_last_reading_from_flowing_water(fleet_of):
    fleet = fleet_of(
        [
            change("2026-03-01"),
            reading("2026-03-02", 4.0),
            reading("2026-03-03", 90.0, "first flush"),
            reading("2026-03-04", 80.0, None),
            reading("2026-03-05"),
        ]
    )
    assert fleet.of("tank", "T1", "last_outlet_tds", "2026-03-06") == 4.0
    assert fleet.evidence("tank", "T1", "last_outlet_tds", "2026-03-06") == "R2"


def test_a_resin_change_ends_what_was_read_but_a_top_up_does_not(fleet_of):
    fleet = fleet_of(
        [
            change("2026-03-01"),
            reading("2026-03-02", 25.0),
            change("2026-03-03", "topped up"),
            change("2026-03-04T10:00"),
            reading("2026-03-05", 1.0),
        ]
    )
    days = ("2026-03-03T12:00", "2026-03-04T09:59", "2026-03-04T10:00", "2026-03-05")
    assert fleet.of("tank", "T1", "last_outlet_tds", *days) == [25.0, 25.0, None, 1.0]


def test_a_reading_at_the_instant_of_a_change_belongs_to_the_new_charge(fleet_of):
    fleet = fleet_of([change("2026-03-01"), reading("2026-03-01", 0.0)])
    assert fleet.of("tank", "T1", "last_outlet_tds", "2026-03-01") == 0.0


def test_readings_before_any_change_on_record_count_for_the_first_charge(fleet_of):
    fleet = fleet_of([reading("2026-03-01", 7.0), reading("2026-03-02", 8.0, tank="T2")])
    assert fleet.of("tank", "T1", "last_outlet_tds", "2026-03-03") == 7.0


def test_the_age_counts_any_reading_of_the_outlet_on_whatever_charge(fleet_of):
    fleet = fleet_of(
        [
            reading("2026-03-01T06:00", None, None, outlet_conductivity=9.0),
            reading("2026-03-02", inlet_tds=200.0),
            change("2026-03-03"),
        ]
    )
    ages = fleet.of("tank", "T1", "last_outlet_age", "2026-03-01T05:59", "2026-03-03T18:00")
    assert ages == [None, 2.5]


def test_a_day_on_which_the_clocks_change_has_24_hours_in_ages(fleet_of):
    fleet = fleet_of([reading("2026-03-28T12:00+01:00", 3.0)], zone="Europe/Berlin")
    # From noon to noon the wall clock shows 24 hours, but only 23 have passed.
    age = fleet.of("tank", "T1", "last_outlet_age", "2026-03-29T12:00+02:00")
    assert age == pytest.approx(23 / 24)


def test_vehicles_are_counted_since_the_last_reading_this_rinse_included(fleet_of):
    fleet = fleet_of(
        [
            rinse("2026-03-01", 5.0),
            reading("2026-03-02", 3.0),
            rinse("2026-03-02", 9.0),
            rinse("2026-03-03", 2.0),
            rinse("2026-03-04", 4.0),
        ]
    )
    # What was logged at the very instant of the reading counts as read.
    assert fleet.of_events("rinse", "rinses_since_reading") == [None, 0.0, 2.0, 6.0]


def test_an_uncounted_rinse_makes_the_count_unknown_until_the_next_reading(fleet_of):
    fleet = fleet_of(
        [
            reading("2026-03-01", 3.0),
            rinse("2026-03-02", 1.0),
            rinse("2026-03-03", None),
            rinse("2026-03-04", 1.0),
            reading("2026-03-05", 3.0),
            rinse("2026-03-06", 1.0),
        ]
    )
    days = [f"2026-03-0{day}T12:00" for day in (1, 2, 3, 4, 5, 6)]
    counts = fleet.of("tank", "T1", "rinses_since_reading", *days)
    assert counts == [0.0, 1.0, None, None, 0.0, 1.0]


def test_a_complaint_is_followed_by_a_reading_of_the_same_van(fleet_of):
    fleet = fleet_of(
        [
            {"kind": "complaint", "van": "V1", "at": "2026-03-01"},
            {"kind": "complaint", "van": "V2", "at": "2026-03-01"},
            {"kind": "complaint", "van": "V3", "at": "2026-03-01"},
            reading("2026-03-01", 9.0, van="V2"),  # at the same instant, so not after it
            reading("2026-03-02", 9.0),  # by V1, since the register gives it the tank
            reading("2026-03-02", inlet_tds=200.0, van="V3"),
        ],
        tanks=[{"tank": "T1", "van": "V1"}],
    )
    followed = fleet.of_events("complaint", "reading_followed", until="2026-03-03")
    assert followed == [True, False, False]
    too_early = fleet.of_events("complaint", "reading_followed", until="2026-03-01T23:59")
    assert too_early == [False, False, False]


def test_a_reading_on_the_last_instant_of_the_time_allowed_counts(fleet_of):
    fleet = fleet_of(
        [
            {"kind": "complaint", "van": "V1", "at": "2026-03-01"},
            reading("2026-03-02", 1.0, van="V1"),
        ]
    )
    assert fleet.of_events("complaint", "reading_followed", until="2026-03-02") == [True]
