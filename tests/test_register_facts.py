"""Facts from the register, as it stood at the instant asked about."""

import math

import pytest

TANKS = [
    {"tank": "T1", "van": "V1", "vessel_volume": 30.0, "bore": 200.0, "freeboard_max": 300.0},
    {
        "tank": "T1",
        "from": "2026-06-01",
        "van": "V2",
        "vessel_volume": 25.0,
        "bore": 200.0,
        "position": "polish",
    },
]


def rinse(at, **more):
    return {"kind": "rinse", "tank": "T1", "at": at, **more}


def test_each_instant_sees_the_register_row_then_valid(fleet_of):
    fleet = fleet_of(
        [rinse("2026-05-31T21:59:59"), rinse("2026-05-31T22:00:00")],
        zone="Europe/Berlin",
        tanks=TANKS,
    )
    # 1 June begins in Berlin at 22:00 UTC of 31 May.
    assert fleet.of_events("rinse", "vessel_volume") == [30.0, 25.0]
    assert fleet.of_events("rinse", "position") == [None, "polish"]


def test_a_tank_that_is_not_in_the_register_is_not_known(fleet_of):
    fleet = fleet_of([rinse("2026-05-01"), {**rinse("2026-05-01"), "tank": "T9"}], tanks=TANKS)
    assert fleet.of_events("rinse", "tank_known") == [True, False]
    assert fleet.of_events("rinse", "bore") == [200.0, None]


def test_a_tank_is_not_known_before_its_first_row_begins(fleet_of):
    fleet = fleet_of([], tanks=[{"tank": "T1", "from": "2026-06-01"}])
    known = fleet.of("tank", "T1", "tank_known", "2026-05-31T23:59:59", "2026-06-01")
    assert known == [False, True]


def test_an_empty_register_knows_nothing(fleet_of):
    fleet = fleet_of([rinse("2026-05-01"), {"kind": "reading", "tank": "T1", "at": "2026-05-01"}])
    assert fleet.of_events("rinse", "tank_known") == [False]
    assert fleet.of_events("reading", "meter_known") == [False]
    assert fleet.of_events("rinse", "class_water_per_rinse") == [None]


def test_a_meter_is_known_from_its_row_on_and_brings_its_factor(fleet_of):
    readings = [
        {"kind": "reading", "tank": "T1", "at": "2026-05-01", "meter": meter}
        for meter in ("M1", "M2", None)
    ]
    fleet = fleet_of(readings, meters=[{"meter": "M1", "factor": 0.5, "resolution": 1.0}])
    assert fleet.of_events("reading", "meter_known") == [True, False, False]
    assert fleet.of_events("reading", "meter_factor") == [0.5, None, None]
    assert fleet.of_events("reading", "meter_resolution") == [1.0, None, None]
    assert fleet.of("meter", "M1", "meter_factor", "2026-05-01") == 0.5


def test_a_class_of_vehicle_brings_its_water_per_rinse(fleet_of):
    fleet = fleet_of(
        [rinse("2026-05-01", vehicle_class="coach"), rinse("2026-05-02")],
        vehicle_classes=[{"vehicle_class": "coach", "water_per_rinse": 150.0}],
    )
    assert fleet.of_events("rinse", "class_water_per_rinse") == [150.0, None]


def test_the_least_full_charge_leaves_the_greatest_freeboard_free(fleet_of):
    change = {"kind": "resin_change", "tank": "T1", "at": "2026-05-01"}
    fleet = fleet_of([change, {**change, "at": "2026-07-01"}], tanks=TANKS)
    first, second = fleet.of_events("resin_change", "least_full_charge")
    # Over 200 mm of bore, 300 mm stand for pi/4 * 4 dm2 * 3 dm = 3 pi dm3 = 9.425 L.
    assert first == pytest.approx(30 - 3 * math.pi, abs=1e-9)
    assert second is None  # the later row states no greatest freeboard


def test_a_freeboard_larger_than_the_vessel_gives_no_least_charge(fleet_of):
    change = {"kind": "resin_change", "tank": "T1", "at": "2026-05-01"}
    row = {"tank": "T1", "vessel_volume": 30.0, "bore": 200.0, "freeboard_max": 1_000.0}
    assert fleet_of([change], tanks=[row]).of_events("resin_change", "least_full_charge") == [None]


def test_a_van_is_known_from_its_row_on_and_open_where_none_is_named(fleet_of):
    vans = [{"van": "V1", "from": "2026-05-02"}]
    rinses = [
        rinse("2026-05-01", van="V1"),
        rinse("2026-05-02", van="V1"),
        rinse("2026-05-03", van="V11"),
        rinse("2026-05-04"),
    ]
    fleet = fleet_of(rinses, vans=vans)
    assert fleet.of_events("rinse", "van_known") == [False, True, False, None]
    assert fleet_of(rinses).of_events("rinse", "van_known") == [False, False, False, None]


@pytest.mark.parametrize("kind", ["reading", "resin_change", "complaint"])
def test_the_van_of_other_records_is_looked_up_too(fleet_of, kind):
    records = [
        {"kind": kind, "tank": "T1", "at": "2026-05-01", "van": van} for van in ("V1", "V11")
    ]
    assert sorted(fleet_of(records, vans=[{"van": "V1"}]).of_events(kind, "van_known")) == [
        False,
        True,
    ]


def test_a_misspelt_class_or_source_is_not_known(fleet_of):
    names = [("coach", "tap"), ("caoch", "tpa"), (None, None)]
    rinses = [rinse("2026-05-01", vehicle_class=c, source=s) for c, s in names]
    fleet = fleet_of(
        rinses, vehicle_classes=[{"vehicle_class": "coach"}], sources=[{"source": "tap"}]
    )
    assert fleet.of_events("rinse", "class_known") == [True, False, None]
    assert fleet.of_events("rinse", "source_known") == [True, False, None]


def test_a_base_is_known_once_a_van_or_a_source_has_stood_there(fleet_of):
    bases = ("North Yard", "Quay", "Old Yard", "Nroth Yard")
    disposals = [{"kind": "disposal", "at": "2026-05-01", "base": base} for base in bases]
    fleet = fleet_of(
        disposals,
        vans=[
            {"van": "V1", "base": "Old Yard"},
            {"van": "V1", "from": "2026-04-01", "base": "North Yard"},
            {"van": "V2", "from": "2026-06-01", "base": "Nroth Yard"},
        ],
        sources=[{"source": "tap", "base": "Quay"}],
    )
    known = dict(zip(sorted(bases), fleet.of_events("disposal", "base_known"), strict=True))
    assert known == {"North Yard": True, "Quay": True, "Old Yard": True, "Nroth Yard": False}
