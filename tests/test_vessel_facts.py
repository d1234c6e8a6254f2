"""When the next service of a vessel is due, on whose authority, and with what result."""

from datetime import date

import pytest


def service(at, service="visual", authority="data plate", due=None, **more):
    return {
        "kind": "vessel_service", "tank": "T1", "at": at, "service": service,
        "authority": authority, "next_due": due, **more,
    }  # fmt: skip


@pytest.fixture
def due_of(fleet_of):
    def due(records, at, zone="UTC"):
        records = [{**r, "next_due": as_day(r["next_due"])} for r in records]
        return fleet_of(records, zone=zone).of("tank", "T1", "vessel_due_in", at)

    return due


def as_day(written):
    return date.fromisoformat(written) if written else None


def test_the_shortest_stated_interval_governs(due_of):
    services = [
        service("2026-01-01", "periodic", "local code", "2026-12-31"),
        service("2026-01-02", "periodic", "data plate", "2026-06-30"),
    ]
    assert due_of(services, "2026-06-20") == 10.0
    assert due_of(services, "2026-07-02") == -2.0


def test_the_latest_service_of_a_kind_and_authority_replaces_the_earlier_one(due_of):
    services = [
        service("2026-01-01", due="2026-02-01"),
        service("2026-01-20", due="2026-03-01"),
    ]
    assert due_of(services, "2026-01-19") == 13.0
    assert due_of(services, "2026-01-20") == 40.0


def test_a_service_of_another_kind_does_not_settle_what_is_overdue(due_of):
    services = [
        service("2026-01-01", "hydrostatic", "local code", "2026-02-01"),
        service("2026-02-10", "visual", "local code", "2027-02-10"),
    ]
    assert due_of(services, "2026-02-11") == -10.0


def test_a_service_without_a_due_day_does_not_contribute(due_of):
    services = [
        service("2026-01-01", "periodic", due="2026-03-01"),
        service("2026-01-05", "visual"),
    ]
    assert due_of(services, "2026-02-27") == 2.0
    assert due_of([service("2026-01-01")], "2026-02-27") is None
    assert due_of([], "2026-02-27") is None


def test_of_services_at_one_instant_the_earliest_due_day_counts_in_any_order(due_of):
    services = [service("2026-01-01", due=day) for day in ("2026-03-01", "2026-02-01", None)]
    for order in (services, services[::-1]):
        assert due_of(order, "2026-01-31") == 1.0


def test_a_service_without_authority_stands_until_the_next_one_of_its_kind(due_of):
    services = [
        service("2026-01-01", "visual", None, "2026-02-01"),
        service("2026-01-10", "periodic", "data plate", "2027-01-01"),
        service("2026-01-20", "visual", "local code", "2026-12-01"),
    ]
    assert due_of(services, "2026-01-15") == 17.0
    assert due_of(services, "2026-01-25") == 310.0  # 25 January to 1 December: 6+28+31+...


def test_days_to_a_service_are_days_of_the_operators_calendar(due_of):
    services = [service("2026-03-01", due="2026-03-30")]
    # 28 March 22:30 UTC is 29 March in Athens but still 28 March in Lisbon.
    assert due_of(services, "2026-03-28T22:30", "Europe/Athens") == 1.0
    assert due_of(services, "2026-03-28T22:30", "Europe/Lisbon") == 2.0
    # The clocks change in the night of 29 March; the day itself counts as 0 until it ends.
    assert due_of(services, "2026-03-30T20:59:59", "Europe/Athens") == 0.0
    assert due_of(services, "2026-03-30T21:00", "Europe/Athens") == -1.0


def test_the_evidence_is_the_service_that_set_the_day(fleet_of):
    fleet = fleet_of(
        [
            service("2026-01-01", "periodic", due=as_day("2026-03-01")),
            service("2026-01-05", "visual", due=as_day("2026-09-01")),
        ]
    )
    assert fleet.evidence("tank", "T1", "vessel_due_in", "2026-02-01") == "R1"


def test_every_latest_service_must_state_its_authority(fleet_of):
    fleet = fleet_of(
        [
            service("2026-01-01", "visual", None),
            service("2026-01-02", "periodic", "local code"),
            service("2026-01-03", "visual", "operator policy"),
        ]
    )
    days = ("2025-12-31", "2026-01-01", "2026-01-02", "2026-01-03")
    stated = fleet.of("tank", "T1", "vessel_authority_stated", *days)
    assert stated == [None, False, False, True]
    assert fleet.evidence("tank", "T1", "vessel_authority_stated", "2026-01-02") == "R1"


def test_a_missing_authority_beside_a_stated_one_at_the_same_instant_is_missing(fleet_of):
    both = [service("2026-01-01"), service("2026-01-01", authority=None)]
    for order in (both, both[::-1]):
        fleet = fleet_of(order)
        assert fleet.of("tank", "T1", "vessel_authority_stated", "2026-01-01") is False


def test_the_result_is_the_latest_that_was_stated(fleet_of):
    fleet = fleet_of(
        [
            service("2026-01-01", result="fit"),
            service("2026-01-02", result="unfit"),
            service("2026-01-03"),
        ]
    )
    days = ("2025-12-31", "2026-01-01", "2026-01-03")
    assert fleet.of("tank", "T1", "vessel_result", *days) == [None, "fit", "unfit"]


def test_of_two_results_at_one_instant_the_cautious_one_counts(fleet_of):
    results = [service("2026-01-01", result=result) for result in ("unfit", "fit with limits")]
    for order in (results, results[::-1]):
        assert fleet_of(order).of("tank", "T1", "vessel_result", "2026-01-01") == "unfit"


def test_the_age_of_a_service_counts_any_kind_even_several_on_one_day(fleet_of):
    fleet = fleet_of(
        [
            service("2026-01-01T08:00"),
            service("2026-01-01T20:00", "periodic"),
            service("2026-01-03"),
        ]
    )
    ages = fleet.of("tank", "T1", "vessel_service_age", "2026-01-01T07:00", "2026-01-02T08:00")
    assert ages == [None, 0.5]


def test_services_of_one_tank_say_nothing_of_another(fleet_of):
    fleet = fleet_of([service("2026-01-01", due=as_day("2026-02-01"), result="fit")])
    for name in ("vessel_due_in", "vessel_result", "vessel_service_age"):
        assert fleet.of("tank", "T2", name, "2026-01-10") is None
