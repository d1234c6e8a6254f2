"""How long a van has been silent, in days and in working days."""

import pytest


def logged(at, **more):
    return {"kind": "rinse", "tank": "T1", "van": "V1", "at": at, **more}


def silent(fleet, *at):
    return fleet.of("van", "V1", "working_days_silent", *at)


def test_only_whole_working_days_between_the_last_record_and_today_count(fleet_of):
    fleet = fleet_of([logged("2026-03-05T08:00")])  # a Thursday
    days = [f"2026-03-{day:02}T07:00" for day in (5, 6, 7, 8, 9, 10, 11)]
    # Friday is over on Saturday; the weekend does not count; Monday is over on Tuesday.
    assert silent(fleet, "2026-03-05T23:00", *days[1:]) == [0, 0, 1, 1, 1, 2, 3]


def test_a_van_that_never_logged_anything_is_unknown(fleet_of):
    fleet = fleet_of([logged("2026-03-05")])
    assert silent(fleet, "2026-03-04") is None
    assert fleet.of("van", "V1", "last_record_age", "2026-03-04") is None
    assert fleet.of("van", "V2", "working_days_silent", "2026-03-09") is None


def test_any_kind_of_record_breaks_the_silence(fleet_of):
    fleet = fleet_of(
        [logged("2026-03-02"), {"kind": "disposal", "base": "B1", "van": "V1", "at": "2026-03-04"}]
    )
    assert silent(fleet, "2026-03-05") == 0
    assert fleet.of("van", "V1", "last_record_age", "2026-03-05T12:00") == 1.5
    assert fleet.evidence("van", "V1", "last_record_age", "2026-03-05") == "R2"


def test_a_record_without_a_van_counts_for_the_van_that_has_the_tank(fleet_of):
    fleet = fleet_of([logged("2026-03-02", van=None)], tanks=[{"tank": "T1", "van": "V1"}])
    assert silent(fleet, "2026-03-04") == 1


def test_days_begun_out_of_use_do_not_count(fleet_of):
    fleet = fleet_of(
        [
            logged("2026-03-02T08:00"),  # Monday
            {"kind": "out_of_use", "item": "V1", "at": "2026-03-03T12:00"},
            {"kind": "out_of_use", "item": "V1", "at": "2026-03-04T12:00"},
            {"kind": "return_to_use", "item": "V1", "at": "2026-03-06T00:00"},
        ]
    )
    # Tuesday began in use; Wednesday and Thursday began out of use; Friday began with the return.
    days = [f"2026-03-{day:02}T09:00" for day in (3, 4, 5, 6, 7, 9)]
    assert silent(fleet, *days) == [0, 1, 1, 1, 2, 2]


def test_a_van_still_out_of_use_stays_at_the_days_before(fleet_of):
    fleet = fleet_of(
        [logged("2026-03-02"), {"kind": "out_of_use", "item": "V1", "at": "2026-03-04T00:00"}]
    )
    assert silent(fleet, "2026-03-04T06:00", "2026-04-04") == [1, 1]


def test_a_spell_out_of_use_before_the_last_record_changes_nothing(fleet_of):
    fleet = fleet_of(
        [
            {"kind": "out_of_use", "item": "V1", "at": "2026-02-02"},
            {"kind": "return_to_use", "item": "V1", "at": "2026-02-20"},
            logged("2026-03-02"),
        ]
    )
    assert silent(fleet, "2026-03-05") == 2


@pytest.mark.parametrize(("zone", "days"), [("Asia/Tokyo", 1), ("America/New_York", 2), (None, 2)])
def test_days_are_those_of_the_vans_own_clock(fleet_of, zone, days):
    fleet = fleet_of([logged("2026-03-02T22:00")], vans=[{"van": "V1", "time_zone": zone}])
    # 22:00 UTC of Monday is Tuesday in Tokyo: of its working days only Wednesday is over.
    # In New York and in UTC it is Monday still, so that Tuesday and Wednesday are over.
    assert silent(fleet, "2026-03-05T06:00") == days


def test_a_day_that_lacks_its_midnight_still_begins(fleet_of):
    fleet = fleet_of(
        [
            logged("2026-09-04T12:00"),
            # In Santiago the clocks skip from 0:00 to 1:00 of Sunday 6 September 2026, 4:00 UTC.
            {"kind": "out_of_use", "item": "V1", "at": "2026-09-06T04:00"},
            {"kind": "return_to_use", "item": "V1", "at": "2026-09-08T03:00"},
        ],
        zone="America/Santiago",
    )
    # Monday the 7th began out of use; Tuesday the 8th began with the return, at 3:00 UTC.
    assert silent(fleet, "2026-09-09T12:00") == 1
