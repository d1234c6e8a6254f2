"""How long ago a meter was checked, and how far off the standard it was."""

from datetime import date

import pytest

METERS = [
    {"meter": "M1", "compensation": True},
    {"meter": "M2", "compensation": False},
    {"meter": "M3"},
]


def check(meter="M1", at="2026-03-01", standard=100.0, **more):
    return {
        "kind": "meter_check", "meter": meter, "at": at, "standard_conductivity": standard, **more
    }  # fmt: skip


def test_the_age_of_a_check_is_that_of_the_meter_in_hand(fleet_of):
    readings = [
        {"kind": "reading", "tank": "T1", "at": "2026-03-02T12:00", "meter": meter}
        for meter in ("M1", "M9", None)
    ]
    fleet = fleet_of([check(), check(at="2026-03-02"), check("M2"), *readings])
    assert fleet.of_events("reading", "meter_check_age") == [0.5, None, None]
    assert fleet.of("meter", "M2", "meter_check_age", "2026-03-11") == 10.0
    assert fleet.evidence("meter", "M1", "meter_check_age", "2026-03-11") == "R2"


def test_the_error_is_the_distance_from_the_standard_whichever_side(fleet_of):
    fleet = fleet_of(
        [
            check(shown_before=104.0, shown_after=100.0),
            check(at="2026-03-02", shown_before=97.0),
        ],
        meters=METERS,
    )
    # A meter that compensates shows the standard's own 100 uS/cm, whatever the temperature.
    assert fleet.of_events("meter_check", "meter_error") == pytest.approx([4.0, 3.0])
    assert fleet.of_events("meter_check", "meter_error_after") == [0.0, None]


def test_a_meter_that_does_not_compensate_is_held_against_the_standard_at_its_temperature(fleet_of):
    fleet = fleet_of([check("M2", shown_before=90.0, water_temperature=20.0)], meters=METERS)
    # At 20 degC the standard of 100 uS/cm has 100 * (1 - 0.02 * 5) = 90 uS/cm.
    assert fleet.of_events("meter_check", "meter_error") == pytest.approx([0.0], abs=1e-12)


@pytest.mark.parametrize(
    "told",
    [
        check("M2", shown_before=100.0),  # its temperature is needed
        check("M2", shown_before=100.0, water_temperature=60.0),  # the line does not reach there
        check("M3", shown_before=100.0, water_temperature=25.0),  # does it compensate?
        check("M9", shown_before=100.0, water_temperature=25.0),  # not in the register
        check("M1", shown_before=100.0, standard=None),
        check("M1", shown_before=100.0, standard=0.0),
        check("M1"),
    ],
)
def test_what_cannot_be_told_is_unknown(fleet_of, told):
    assert fleet_of([told], meters=METERS).of_events("meter_check", "meter_error") == [None]


def test_the_standard_may_be_used_on_its_last_day(fleet_of):
    fleet = fleet_of(
        [
            check(at="2026-03-31T21:59", standard_use_by=date(2026, 3, 31)),
            check(at="2026-03-31T22:00", standard_use_by=date(2026, 3, 31)),
            check(at="2026-04-01"),
        ],
        zone="Europe/Berlin",
    )
    # 22:00 UTC is midnight in Berlin: the day after.
    assert fleet.of_events("meter_check", "standard_use_by_in") == [0.0, -1.0, None]
