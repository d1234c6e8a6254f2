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


def test_while_a_latest_service_states_no_day_only_what_is_overdue_is_known(due_of):
    services = [
        service("2026-01-01", "periodic", due="2026-03-01"),
        service("2026-01-05", "visual"),
    ]
    assert due_of(services, "2026-01-04") == 56.0  # 4 January to 1 March: 27 + 28 + 1
    assert due_of(services, "2026-02-27") is None
    assert due_of(services, "2026-03-01") is None
    assert due_of(services, "2026-03-02") == -1.0
    services.append(service("2026-02-01", "visual", due="2027-02-01"))
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


def test_the_evidence_of_an_unknown_day_is_the_service_that_states_none(fleet_of):
    fleet = fleet_of(
        [
            service("2026-01-01", "periodic", due=as_day("2026-03-01")),
            service("2026-01-05", "visual"),
        ]
    )
    assert fleet.evidence("tank", "T1", "vessel_due_in", "2026-02-01") == "R2"
    assert fleet.evidence("tank", "T1", "vessel_due_in", "2026-03-02") == "R1"


def test_a_service_on_another_authority_does_not_state_the_day_of_the_first(due_of):
    services = [
        service("2026-01-01", "periodic", "local code"),
        service("2026-01-05", "periodic", "data plate", "2026-09-01"),
    ]
    assert due_of(services, "2026-02-01") is None


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


def proper(at, kind="periodic", result="fit", authority="local code", by="CP-1"):
    return service(at, kind, authority, result=result, competent_person=by)


def look(at, result="fit"):
    return service(at, "visual", "operator policy", result=result)


def results(fleet_of, *services):
    """Return the result that stands after each service, all of them a day apart."""
    fleet = fleet_of([{**one, "at": f"2026-01-{n:02}"} for n, one in enumerate(services, 1)])
    days = [f"2026-01-{n:02}T12:00" for n in range(1, len(services) + 1)]
    found = fleet.of("tank", "T1", "vessel_result", *days)
    return found if isinstance(found, list) else [found]


def test_without_anything_unfit_the_latest_result_that_was_stated_stands(fleet_of):
    services = (look("", None), look(""), look("", None), proper("", by=None), proper("", "visual"))
    assert results(fleet_of, *services) == [None, "fit", "fit", "fit", "fit"]


def test_a_look_by_the_crew_cancels_nothing_that_was_found_unfit(fleet_of):
    for kind in ("visual", "periodic", "hydrostatic"):
        assert results(fleet_of, proper("", kind, "unfit"), look("")) == ["unfit", "unfit"]
    assert results(fleet_of, look("", "unfit"), look("")) == ["unfit", "unfit"]


@pytest.mark.parametrize(
    ("found", "later", "stands"),
    [
        ("visual", "visual", "fit"),
        ("visual", "hydrostatic", "fit"),
        ("periodic", "visual", "unfit"),
        ("periodic", "periodic", "fit"),
        ("periodic", "hydrostatic", "fit"),
        ("hydrostatic", "periodic", "unfit"),
        ("hydrostatic", "hydrostatic", "fit"),
        (None, "periodic", "unfit"),
        (None, "hydrostatic", "fit"),
        ("visual", None, "fit"),
        ("periodic", None, None),
    ],
)
def test_unfit_stands_until_a_service_as_strong_finds_the_vessel_fit(
    fleet_of, found, later, stands
):
    assert results(fleet_of, proper("", found, "unfit"), proper("", later))[-1] == stands


@pytest.mark.parametrize(
    ("more", "stands"),
    [
        ({"result": "fit with limits"}, "fit with limits"),
        ({"authority": None}, None),
        ({"by": None}, None),
        ({"result": None}, None),
        ({"authority": "operator policy"}, "unfit"),
        ({"authority": "operator policy", "result": None}, "unfit"),
        ({"result": "unfit", "by": None}, "unfit"),
    ],
)
def test_a_service_that_lacks_authority_person_or_result_leaves_an_unfit_vessel_unknown(
    fleet_of, more, stands
):
    unfit = proper("", result="unfit")
    assert results(fleet_of, unfit, proper("", **more))[-1] == stands


def test_what_is_unknown_stays_so_until_it_is_settled_or_found_unfit(fleet_of):
    unfit, half = proper("", result="unfit"), proper("", by=None)
    assert results(fleet_of, unfit, half, look("")) == ["unfit", None, None]
    assert results(fleet_of, unfit, half, proper("")) == ["unfit", None, "fit"]
    assert results(fleet_of, unfit, half, look("", "unfit")) == ["unfit", None, "unfit"]


def test_a_stronger_service_without_a_result_leaves_it_unknown_whatever_the_crew_sees(fleet_of):
    for kind in ("periodic", "hydrostatic", None):
        blank = proper("", kind, None)
        assert results(fleet_of, look(""), blank, look("")) == ["fit", None, None]
        assert results(fleet_of, blank, proper("", "hydrostatic")) == [None, "fit"]
    assert results(fleet_of, proper("", "hydrostatic", None), proper("")) == [None, None]


def test_limits_stand_until_a_service_as_strong_finds_the_vessel_fit_without(fleet_of):
    limited = proper("", result="fit with limits")
    assert results(fleet_of, limited, look(""), proper("")) == [*["fit with limits"] * 2, "fit"]


def test_a_vessel_found_unfit_again_is_unfit_however_it_was_settled_before(fleet_of):
    unfit = proper("", result="unfit")
    assert results(fleet_of, unfit, proper(""), unfit) == ["unfit", "fit", "unfit"]


def test_the_evidence_of_a_result_is_the_service_that_it_stands_by(fleet_of):
    unfit = proper("2026-01-01", result="unfit")
    fleet = fleet_of([unfit, look("2026-01-02"), proper("2026-01-03", by=None)])
    days = ("2026-01-02", "2026-01-03")
    evidence = [fleet.evidence("tank", "T1", "vessel_result", day) for day in days]
    assert evidence == ["R1", "R3"]


def test_each_vessel_has_its_own_result_and_evidence(fleet_of):
    unfit = proper("2026-01-02", result="unfit")
    fleet = fleet_of(
        [
            proper("2026-01-01"),
            unfit,
            {**unfit, "tank": "T2"},
            {**look(""), "at": "2026-01-03", "tank": "T3"},
        ]
    )
    found = {
        tank: (
            fleet.of("tank", tank, "vessel_result", "2026-01-04"),
            fleet.evidence("tank", tank, "vessel_result", "2026-01-04"),
        )
        for tank in ("T1", "T2", "T3", "T4")
    }
    assert found == {
        "T1": ("unfit", "R2"), "T2": ("unfit", "R3"), "T3": ("fit", "R4"), "T4": (None, None)
    }  # fmt: skip


def test_an_examination_is_on_record_or_else_nobody_can_say(fleet_of):
    fleet = fleet_of(
        [
            look("2026-01-01"),
            proper("2026-01-02", authority="operator policy"),
            proper("2026-01-03", authority=None),
            proper("2026-01-04", "visual"),
            proper("2026-01-05", "hydrostatic", result=None, by=None),
        ]
    )
    days = [f"2026-01-0{day}" for day in (1, 2, 3, 4, 5)]
    assert fleet.of("tank", "T1", "vessel_examined", *days) == [None] * 4 + [True]
    assert fleet.evidence("tank", "T1", "vessel_examined", days[-1]) == "R5"
    assert fleet.of("tank", "T2", "vessel_examined", "2026-01-05") is None


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
