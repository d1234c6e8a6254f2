"""How old the seals are, and whether a resin change came with lubrication."""


def service(at, **more):
    return {"kind": "seal_service", "tank": "T1", "at": at, **more}


def test_a_seal_ages_from_its_last_replacement_and_each_seal_by_itself(fleet_of):
    fleet = fleet_of(
        [
            service("2026-01-01", seal="head", replaced=True),
            service("2026-01-05", seal="riser", replaced=True),
            service("2026-01-08", seal="head", replaced=False),
            service("2026-01-09", seal="head"),
        ]
    )
    assert fleet.of("tank", "T1", "head_seal_age", "2026-01-11T12:00") == 10.5
    assert fleet.of("tank", "T1", "riser_seal_age", "2026-01-11") == 6.0
    assert fleet.of("tank", "T1", "port_seal_age", "2026-01-11") is None
    assert fleet.evidence("tank", "T1", "head_seal_age", "2026-01-11") == "R1"


def lubrication_of(fleet_of, at, until="2026-03-04", **more):
    change = {"kind": "resin_change", "tank": "T1", "at": "2026-03-02T18:00"}
    fleet = fleet_of([change, service(at, **{"lubricant": "silicone", **more})])
    return fleet.of_events("resin_change", "lubrication_logged", until=until)[0]


def test_lubrication_counts_from_twelve_hours_before_the_change(fleet_of):
    assert lubrication_of(fleet_of, "2026-03-02T06:00") is True
    assert lubrication_of(fleet_of, "2026-03-02T05:59:59") is False


def test_lubrication_counts_until_the_time_allowed_is_up(fleet_of):
    assert lubrication_of(fleet_of, "2026-03-04") is True
    assert lubrication_of(fleet_of, "2026-03-04T00:00:01") is False


def test_a_service_without_lubricant_is_no_lubrication(fleet_of):
    for lubricant in ("none", "unknown", None):
        assert lubrication_of(fleet_of, "2026-03-03", lubricant=lubricant) is False
    assert lubrication_of(fleet_of, "2026-03-03", lubricant="petroleum") is True


def test_the_lubrication_of_another_tank_does_not_count(fleet_of):
    assert lubrication_of(fleet_of, "2026-03-03", tank="T2") is False


def test_the_first_lubrication_in_time_is_the_evidence(fleet_of):
    change = {"kind": "resin_change", "tank": "T1", "at": "2026-03-02T18:00"}
    days = ("2026-03-01", "2026-03-02T19:00", "2026-03-03")
    fleet = fleet_of([change, *(service(day, lubricant="other") for day in days)])
    subjects = fleet.events("resin_change", until="2026-03-04")
    found = fleet.found("resin_change", "lubrication_logged", subjects)
    assert found.row(0) == (True, "R3")
