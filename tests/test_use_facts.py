"""Whether a tank, its van or the meter stands out of use."""


def taken_out(item, at):
    return {"kind": "out_of_use", "item": item, "at": at}


def returned(item, at):
    return {"kind": "return_to_use", "item": item, "at": at}


def test_an_item_is_out_of_use_until_it_is_returned(fleet_of):
    fleet = fleet_of(
        [
            taken_out("T1", "2026-01-02"),
            taken_out("T1", "2026-01-03"),
            returned("T1", "2026-01-04"),
        ]
    )
    days = [f"2026-01-0{day}" for day in (1, 2, 3, 4)]
    assert fleet.of("tank", "T1", "out_of_use", *days) == [False, True, True, False]
    assert fleet.of("tank", "T2", "out_of_use", "2026-01-03") is False
    assert fleet.evidence("tank", "T1", "out_of_use", "2026-01-03") == "R2"


def test_out_of_use_wins_over_a_return_at_the_same_instant(fleet_of):
    both = [taken_out("V1", "2026-01-02"), returned("V1", "2026-01-02")]
    for order in (both, both[::-1]):
        assert fleet_of(order).of("van", "V1", "out_of_use", "2026-01-02") is True


def test_a_tank_is_out_of_use_with_its_van_and_free_again_in_another(fleet_of):
    tanks = [{"tank": "T1", "van": "V1"}, {"tank": "T1", "from": "2026-01-10", "van": "V2"}]
    fleet = fleet_of([taken_out("V1", "2026-01-02")], tanks=tanks)
    days = ("2026-01-01", "2026-01-09", "2026-01-10")
    assert fleet.of("tank", "T1", "out_of_use", *days) == [False, True, False]
    assert fleet.evidence("tank", "T1", "out_of_use", "2026-01-09") == "R1"


def test_the_van_that_a_record_names_counts_not_the_registers(fleet_of):
    rinses = [
        {"kind": "rinse", "tank": "T1", "at": "2026-01-03", "van": van} for van in ("V2", None)
    ]
    fleet = fleet_of([*rinses, taken_out("V1", "2026-01-02")], tanks=[{"tank": "T1", "van": "V1"}])
    assert fleet.of_events("rinse", "out_of_use") == [False, True]


def test_a_reading_is_touched_by_its_meter_too(fleet_of):
    readings = [
        {"kind": "reading", "tank": "T1", "at": "2026-01-03", "meter": meter}
        for meter in ("M1", "M2", None)
    ]
    fleet = fleet_of([*readings, taken_out("M1", "2026-01-02")])
    assert fleet.of_events("reading", "out_of_use") == [True, False, False]
    assert fleet.of("meter", "M1", "out_of_use", "2026-01-03") is True


def test_what_is_out_of_use_is_the_evidence_and_what_was_returned_is_none(fleet_of):
    fleet = fleet_of(
        [
            taken_out("T1", "2026-01-02"),
            returned("T1", "2026-01-03"),
            taken_out("V1", "2026-01-04"),
        ],
        tanks=[{"tank": "T1", "van": "V1"}],
    )
    assert fleet.evidence("tank", "T1", "out_of_use", "2026-01-04") == "R3"
    assert fleet.evidence("tank", "T1", "out_of_use", "2026-01-03") is None


def test_a_charge_is_out_of_use_with_its_tank(fleet_of):
    change = {"kind": "resin_change", "tank": "T1", "at": "2026-01-01", "change": "tank exchanged"}
    fleet = fleet_of([change, taken_out("T1", "2026-01-02")])
    days = ("2026-01-01", "2026-01-02")
    assert fleet.of("charge", "T1", "out_of_use", *days) == [False, True]
