"""Whether an incident is open, and whether an examination followed it in time."""

import pytest


def incident(at, **more):
    return {"kind": "incident", "tank": "T1", "at": at, "incident": "drop", **more}


def examined(at, result="fit", **more):
    return {
        "kind": "vessel_service", "tank": "T1", "at": at, "result": result,
        "service": "periodic", "authority": "local code", "competent_person": "CP-1", **more,
    }  # fmt: skip


def still_open(fleet_of, *services):
    fleet = fleet_of([incident("2026-01-02"), *services])
    return fleet.of("tank", "T1", "incident_open", "2026-01-31")


def followed(fleet_of, *services):
    fleet = fleet_of([incident("2026-01-02"), *services])
    (found,) = fleet.of_events("incident", "examination_followed", until="2026-01-31")
    return found


def test_an_incident_stays_open_until_a_later_service_finds_the_vessel_fit(fleet_of):
    fleet = fleet_of(
        [
            incident("2026-01-02"),
            examined("2026-01-03", "unfit"),
            examined("2026-01-04", None),
            examined("2026-01-05", "fit with limits"),
        ]
    )
    days = [f"2026-01-0{day}" for day in (1, 2, 3, 4, 5)]
    # An examination without a result may have found it fit: then nobody can tell.
    assert fleet.of("tank", "T1", "incident_open", *days) == [False, True, True, None, False]
    evidence = [fleet.evidence("tank", "T1", "incident_open", day) for day in days]
    assert evidence == [None, "R1", "R1", "R3", "R4"]


def test_an_examination_at_the_instant_of_the_incident_is_not_later(fleet_of):
    for order in (
        [incident("2026-01-02"), examined("2026-01-02")],
        [examined("2026-01-02"), incident("2026-01-02")],
    ):
        fleet = fleet_of(order)
        assert fleet.of("tank", "T1", "incident_open", "2026-01-02") is True
        assert fleet.of_events("incident", "examination_followed", until="2026-02-01") == [False]


def test_an_incident_after_an_examination_opens_again(fleet_of):
    fleet = fleet_of([incident("2026-01-02"), examined("2026-01-03"), incident("2026-01-04")])
    days = ("2026-01-03", "2026-01-04")
    assert fleet.of("tank", "T1", "incident_open", *days) == [False, True]


def test_one_examination_closes_all_earlier_incidents_of_its_tank_only(fleet_of):
    fleet = fleet_of(
        [
            incident("2026-01-02"),
            incident("2026-01-03"),
            incident("2026-01-03", tank="T2"),
            examined("2026-01-04"),
        ]
    )
    assert fleet.of("tank", "T1", "incident_open", "2026-01-05") is False
    assert fleet.of("tank", "T2", "incident_open", "2026-01-05") is True


def test_an_examination_followed_if_it_came_in_time_and_found_the_vessel_fit(fleet_of):
    fleet = fleet_of(
        [incident("2026-01-02"), examined("2026-01-03", "unfit"), examined("2026-01-09")]
    )
    assert fleet.of_events("incident", "examination_followed", until="2026-01-08") == [False]
    assert fleet.of_events("incident", "examination_followed", until="2026-01-09") == [True]


def test_a_tank_that_is_out_of_use_when_the_time_ends_is_withdrawn(fleet_of):
    out = {"kind": "out_of_use", "item": "T1", "at": "2026-01-03"}
    back = {"kind": "return_to_use", "item": "T1", "at": "2026-01-09"}
    fleet = fleet_of([incident("2026-01-02"), out, back])
    assert fleet.of_events("incident", "withdrawn", until="2026-01-02") == [False]
    assert fleet.of_events("incident", "withdrawn", until="2026-01-08") == [True]
    assert fleet.of_events("incident", "withdrawn", until="2026-01-09") == [False]


CREW = {"service": "visual", "authority": "operator policy", "competent_person": None}


@pytest.mark.parametrize(
    ("more", "closed"),
    [
        ({}, True),
        ({"service": "hydrostatic", "result": "fit with limits"}, True),
        ({"service": None}, True),
        ({"service": "visual"}, True),
        ({"service": "visual", "competent_person": None}, False),
        ({"service": "visual", "authority": "operator policy"}, False),
        ({"service": "visual", "authority": None}, False),
        ({"service": "visual", "result": None}, None),
        ({"authority": "operator policy"}, False),
        ({"result": "unfit"}, False),
        ({"authority": None}, None),
        ({"competent_person": None}, None),
        ({"result": None}, None),
        ({"authority": "operator policy", "competent_person": None, "result": None}, False),
        ({"service": None, "competent_person": None}, None),
        (CREW, False),
    ],
)
def test_only_an_examination_by_a_competent_person_closes_an_incident(fleet_of, more, closed):
    service = examined("2026-01-03", **more)
    assert still_open(fleet_of, service) is (None if closed is None else not closed)
    assert followed(fleet_of, service) is closed


def test_a_look_by_the_crew_after_half_an_examination_leaves_it_unknown(fleet_of):
    half = examined("2026-01-03", competent_person=None)
    assert still_open(fleet_of, half, examined("2026-01-04", **CREW)) is None
    assert followed(fleet_of, half, examined("2026-01-04", **CREW)) is None


def test_an_examination_in_full_closes_whatever_half_of_one_came_before_or_after(fleet_of):
    half, full = examined("2026-01-03", competent_person=None), examined("2026-01-04")
    assert still_open(fleet_of, half, full) is False
    assert followed(fleet_of, half, full) is True
    later = examined("2026-01-05", competent_person=None)
    assert still_open(fleet_of, full, later) is False


def test_half_an_examination_before_an_incident_says_nothing_of_it(fleet_of):
    assert still_open(fleet_of, examined("2026-01-01", authority=None)) is True
    assert still_open(fleet_of, examined("2026-01-02", authority=None)) is True


def test_half_an_examination_without_an_incident_opens_nothing(fleet_of):
    fleet = fleet_of([examined("2026-01-03", authority=None)])
    assert fleet.of("tank", "T1", "incident_open", "2026-01-04") is False
