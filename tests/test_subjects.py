"""Who is judged: from which day on a tank is there to be judged."""

from datetime import date

import pytest

from qa_engine.subjects import subjects_of

CHANGE = {"kind": "resin_change", "tank": "T1", "at": "2026-05-10", "change": "tank exchanged"}


def first_day(fleet, subject="tank"):
    """Return the first day at whose end the tank is judged."""
    frame = subjects_of(subject, fleet.past, by_day=True)
    days = frame.filter(tank="T1")["at"].dt.convert_time_zone(fleet.zone).dt.date()
    return None if days.is_empty() else str(days.min())


@pytest.mark.parametrize(
    ("rows", "begins"),
    [
        ([], "2026-05-10"),
        ([{"in_service_on": None}], "2026-05-08"),
        ([{"in_service_on": "2026-05-01"}], "2026-05-08"),
        ([{"in_service_on": "2026-05-09"}], "2026-05-09"),
        ([{"in_service_on": "2026-05-12"}], "2026-05-12"),
        ([{"from": "2026-05-20", "in_service_on": "2026-05-21"}], "2026-05-21"),
        ([{"in_service_on": "2026-05-09"}, {"from": "2026-05-11"}], "2026-05-09"),
        ([{"in_service_on": "2031-01-01"}], None),
    ],
)
def test_a_tank_is_there_from_the_day_on_that_puts_it_in_service(fleet_of, rows, begins):
    """Records begin on 8 May, on another tank; the tank's own begin on 10 May."""
    rows = [
        {**row, "tank": "T1", "in_service_on": day and date.fromisoformat(day)}
        for row in rows
        for day in [row.get("in_service_on")]
    ]
    fleet = fleet_of([CHANGE, {**CHANGE, "tank": "T2", "at": "2026-05-08"}], tanks=rows)
    assert first_day(fleet) == begins


def test_the_day_that_puts_a_tank_in_service_begins_by_the_operators_clock(fleet_of):
    tanks = [{"tank": "T1", "in_service_on": date(2026, 5, 12)}]
    fleet = fleet_of([CHANGE], zone="Asia/Tokyo", tanks=tanks)
    assert first_day(fleet) == "2026-05-12"


def test_what_was_logged_before_the_day_is_judged_all_the_same(fleet_of):
    tanks = [{"tank": "T1", "in_service_on": date(2026, 5, 12)}]
    fleet = fleet_of([CHANGE], tanks=tanks)
    assert subjects_of("resin_change", fleet.past, by_day=False).height == 1
    assert first_day(fleet, "charge") == "2026-05-10"
