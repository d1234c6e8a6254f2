"""Whether an incident is open, and whether an examination followed it in time."""


def incident(at, **more):
    return {"kind": "incident", "tank": "T1", "at": at, "incident": "drop", **more}


def examined(at, result="fit", **more):
    return {"kind": "vessel_service", "tank": "T1", "at": at, "result": result, **more}


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
    assert fleet.of("tank", "T1", "incident_open", *days) == [False, True, True, True, False]
    assert fleet.evidence("tank", "T1", "incident_open", "2026-01-04") == "R1"


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
