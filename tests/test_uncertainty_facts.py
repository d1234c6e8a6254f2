"""How sure a reading is: what a data sheet, a check, the water and a silent register add."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qa_engine.facts.uncertainty_budget import budget_of
from qa_engine.facts.uncertainty_facts import SHOWN
from qa_engine.facts.uncertainty_origin import origin_of
from qa_engine.facts.uncertainty_total import total_of

METER = {
    "meter": "M-1",
    "accuracy_percent": 2.0,
    "accuracy_digits": 1.0,
    "resolution": 1.0,
    "factor": 0.5,
    "compensation": True,
}
AT_25 = {"water_temperature": 25.0}


def reading(**more):
    return {"kind": "reading", "at": "2026-05-04T08:00", "tank": "T-1", "meter": "M-1", **more}


def check(at="2026-05-01T08:00", **more):
    told = {"kind": "meter_check", "at": at, "meter": "M-1", "standard_conductivity": 1000.0}
    return {**told, **more}


def of_outlet(fleet_of, *records, **meter):
    fleet = fleet_of([reading(outlet_tds=9.0, **AT_25), *records], meters=[{**METER, **meter}])
    (found,) = fleet.of_events("reading", "uncertainty of outlet_tds")
    return found


def rectangular(*half_widths):
    return math.sqrt(sum(width**2 for width in half_widths) / 3)


def test_a_data_sheet_of_two_percent_and_a_digit(fleet_of):
    """(0.02 x 9 + 1 x 1) / sqrt 3 = 0.681273."""
    assert of_outlet(fleet_of) == pytest.approx(0.681273, rel=1e-6)


def test_without_digits_the_step_of_the_display_counts_by_itself(fleet_of):
    """0.18 / sqrt 3 and 1 / sqrt 12; so too where a data sheet states half a digit beside it."""
    step = 1 / math.sqrt(12)
    assert of_outlet(fleet_of, accuracy_digits=None) == pytest.approx(
        math.hypot(0.18 / math.sqrt(3), step)
    )
    assert of_outlet(fleet_of, accuracy_digits=0.5) == pytest.approx(
        math.hypot(0.68 / math.sqrt(3), step)
    )


def test_digits_alone_are_a_data_sheet_too(fleet_of):
    assert of_outlet(fleet_of, accuracy_percent=None) == pytest.approx(1 / math.sqrt(3))


@pytest.mark.parametrize(
    ("lacking", "why"),
    [
        (
            {"accuracy_percent": None, "accuracy_digits": None},
            "how accurate and how fine meter M-1",
        ),
        ({"resolution": None}, "how accurate and how fine meter M-1"),
        ({"compensation": None}, "whether meter M-1 compensates"),
        ({"meter": "M-2"}, "meter M-1 was not in the register then"),
        ({"from": "2026-05-05"}, "meter M-1 was not in the register then"),
    ],
)
def test_what_the_register_does_not_say_leaves_it_unknown(fleet_of, lacking, why):
    assert of_outlet(fleet_of, **lacking) is None
    fleet = fleet_of([reading(outlet_tds=9.0, **AT_25)], meters=[{**METER, **lacking}])
    budget = budget_of(fleet.events("reading"), "outlet_tds", "mg/L", fleet.past)
    assert why in origin_of(budget).item()


def test_a_reading_without_meter_has_no_uncertainty(fleet_of):
    fleet = fleet_of([reading(outlet_tds=9.0, **AT_25) | {"meter": None}], meters=[METER])
    assert fleet.of_events("reading", "uncertainty of outlet_tds") == [None]


def test_compensation_adds_more_the_colder_the_water(fleet_of):
    """At 15 degC: 9 x 10 x 0.002 / 0.8 = 0.225 to either side."""
    fleet = fleet_of(
        [reading(outlet_tds=9.0, water_temperature=degc) for degc in (15.0, 25.0)], meters=[METER]
    )
    cold, mild = fleet.of_events("reading", "uncertainty of outlet_tds")
    assert cold == pytest.approx(rectangular(1.18, 0.225))
    assert mild == pytest.approx(rectangular(1.18))


def test_water_of_unlogged_temperature_counts_as_ice_cold(fleet_of):
    """At 0 degC: 9 x 25 x 0.002 / 0.5 = 0.9; whoever logs less is never surer."""
    fleet = fleet_of([reading(outlet_tds=9.0)], meters=[METER])
    (found,) = fleet.of_events("reading", "uncertainty of outlet_tds")
    assert found == pytest.approx(rectangular(1.18, 0.9))


def test_a_meter_that_does_not_compensate_adds_all_that_25_degrees_would_change(fleet_of):
    """At 15 degC the value at 25 is 1/0.8: 9 x 0.25 = 2.25, and 0.225 for the coefficient."""
    meters = [{**METER, "compensation": False}]
    told, silent = (reading(outlet_tds=9.0, water_temperature=degc) for degc in (15.0, None))
    assert fleet_of([told], meters=meters).of_events(
        "reading", "uncertainty of outlet_tds"
    ) == pytest.approx([rectangular(1.18, 2.25, 0.225)])
    assert fleet_of([silent], meters=meters).of_events("reading", "uncertainty of outlet_tds") == [
        None
    ]


def test_a_meter_of_undeclared_factor_may_be_any_meter(fleet_of):
    """0.6 +/- 0.1: 9 / 6 = 1.5 to either side; conductivity needs no factor but for its step."""
    assert of_outlet(fleet_of, factor=None) == pytest.approx(rectangular(1.18, 1.5))
    record = reading(outlet_conductivity=20.0, **AT_25)
    for factor, step in ((0.4, 2.5), (None, 2.0)):
        fleet = fleet_of([record], meters=[{**METER, "factor": factor}])
        found = fleet.of_events("reading", "uncertainty of outlet_conductivity")
        assert found == pytest.approx([rectangular(0.4 + step)])


def test_a_check_within_the_data_sheet_adds_nothing(fleet_of):
    """2 % and a step of 1 mg/L, 2 uS/cm in 1000: 2.2 % are allowed."""
    assert of_outlet(fleet_of, check(shown_before=1021.9)) == pytest.approx(rectangular(1.18))


def test_a_check_beyond_the_data_sheet_adds_what_it_found_and_is_evidence(fleet_of):
    """6 % off: 0.54 to either side."""
    bad = check(shown_before=1060.0, record="C-1")
    assert of_outlet(fleet_of, bad) == pytest.approx(rectangular(1.18, 0.54))
    fleet = fleet_of([reading(outlet_tds=9.0, **AT_25), bad], meters=[METER])
    found = fleet.found("reading", "uncertainty of outlet_tds", fleet.events("reading"))
    assert found["evidence"].to_list() == ["C-1"]


def test_the_last_check_counts_and_what_it_left_after_adjustment(fleet_of):
    bad = check(shown_before=1060.0)
    adjusted = check(shown_before=1060.0, shown_after=1000.0)
    later = check(at="2026-05-04T09:00", shown_before=1500.0)
    good = check(at="2026-05-03T08:00", shown_before=1000.0)
    for records in ((adjusted,), (bad, good), (later,), (bad, good, later)):
        assert of_outlet(fleet_of, *records) == pytest.approx(rectangular(1.18))


def test_the_row_of_the_register_then_valid_counts(fleet_of):
    meters = [METER, {**METER, "accuracy_percent": 10.0, "from": "2026-05-05"}]
    records = [reading(outlet_tds=9.0, **AT_25), reading(outlet_tds=9.0, **AT_25)]
    records[1]["at"] = "2026-05-05T08:00"
    fleet = fleet_of(records, meters=meters)
    found = fleet.of_events("reading", "uncertainty of outlet_tds")
    assert found == pytest.approx([rectangular(1.18), rectangular(1.9)])


def test_the_last_outlet_is_as_sure_as_the_reading_it_comes_from(fleet_of):
    """Not as sure as the meter is by now: the reading was taken before the check."""
    records = [
        reading(outlet_tds=9.0, sampled="flowing", water_temperature=15.0),
        check(at="2026-05-06T08:00", shown_before=1500.0),
    ]
    fleet = fleet_of(records, meters=[METER])
    now = fleet.of("tank", "T-1", "uncertainty of last_outlet_tds", "2026-05-07T08:00")
    assert now == pytest.approx(rectangular(1.18, 0.225))
    before = fleet.of("tank", "T-1", "uncertainty of last_outlet_tds", "2026-05-03T08:00")
    assert before is None


def test_where_it_comes_from_is_told_in_words(fleet_of):
    bad = check(shown_before=1060.0, record="C-1")
    fleet = fleet_of([reading(outlet_tds=9.0), bad], meters=[{**METER, "factor": None}])
    budget = SHOWN["reading"]["outlet_tds"].budget(fleet.events("reading"), fleet.past)
    assert origin_of(budget).item() == (
        "meter M-1 in the register: 2 % of reading + 1 digit of 1 mg/L; check C-1 found it 6 % "
        "off, more than that; water temperature not logged, reckoned as 0 degC; factor not in the "
        "register, reckoned as 0.5 to 0.7"
    )


OPTIONAL = st.none() | st.sampled_from([0.0, 0.5, 1.0, 3.0])
METERS = st.fixed_dictionaries(
    {
        "meter": st.just("M-1"),
        "accuracy_percent": OPTIONAL,
        "accuracy_digits": OPTIONAL,
        "resolution": OPTIONAL,
        "factor": st.none() | st.sampled_from([0.4, 0.7]),
        "compensation": st.none() | st.booleans(),
    }
)
READ = st.fixed_dictionaries(
    {
        "outlet_tds": st.none() | st.floats(0, 500),
        "outlet_conductivity": st.none() | st.floats(0, 500),
        "water_temperature": st.none() | st.floats(0, 60),
    }
)


DAYS = st.integers(1, 9).map("2026-05-0{}".format)
CHANGED = st.fixed_dictionaries(
    {"accuracy_percent": st.sampled_from([1.0, 2.0, 5.0]), "from": st.none() | DAYS}
)
CHECKED = st.builds(
    lambda meter, day, shown: check(f"{day}T08:00", meter=meter, shown_before=shown),
    st.sampled_from(["M-1", "M-2"]),
    DAYS,
    st.sampled_from([1000.0, 1100.0, 1200.0]),
)
TAKEN = st.builds(
    lambda one, meter, day: reading(**{**one, "meter": meter, "at": f"{day}T08:00"}),
    READ,
    st.sampled_from(["M-1", "M-2", "M-9", None]),
    DAYS,
)


def assert_the_parts_make_up_the_total(fleet):
    events = fleet.events("reading")
    for value, unit in (("outlet_tds", "mg/L"), ("outlet_conductivity", "uS/cm")):
        total = total_of(events, value, unit, fleet.past)["total"].to_list()
        parts = budget_of(events, value, unit, fleet.past).total().to_list()
        assert [one is None for one in total] == [one is None for one in parts]
        assert [one for one in total if one is not None] == pytest.approx(
            [one for one in parts if one is not None], rel=1e-9, abs=1e-12
        )


@settings(deadline=None, derandomize=True, max_examples=40)
@given(METERS, st.lists(READ, min_size=1, max_size=4), st.none() | st.floats(900, 1200))
def test_the_parts_told_one_by_one_make_up_the_total(fleet_of, meter, readings, shown):
    checks = [] if shown is None else [check(shown_before=shown)]
    fleet = fleet_of([reading(**one) for one in readings] + checks, meters=[meter])
    assert_the_parts_make_up_the_total(fleet)


@settings(deadline=None, derandomize=True, max_examples=40)
@given(
    st.lists(CHANGED, min_size=1, max_size=3, unique_by=lambda row: row["from"]),
    st.lists(CHECKED, max_size=5),
    st.lists(TAKEN, min_size=1, max_size=8),
)
def test_whatever_the_register_and_the_checks_say_of_a_meter_on_each_day(
    fleet_of, rows, checks, readings
):
    meters = [{**METER, **row} for row in rows] + [{**METER, "meter": "M-2"}]
    assert_the_parts_make_up_the_total(fleet_of([*checks, *readings], meters=meters))


def test_what_is_told_by_conductivity_is_as_sure_as_if_the_meter_had_shown_it(fleet_of):
    """A factor of 0.5 makes 9 mg/L of 18 uS/cm; the factor is the meter's own scale."""
    records = [reading(outlet_tds=9.0, **AT_25), reading(outlet_conductivity=18.0, **AT_25)]
    fleet = fleet_of(records, meters=[{**METER, "factor": 0.5}])
    shown, made = fleet.of_events("reading", "uncertainty of outlet_as_tds")
    assert made == pytest.approx(shown)
    assert fleet.of_events("reading", "uncertainty of outlet_tds") == [shown, None]


def test_how_sure_a_value_after_a_resin_change_is_cannot_be_told(fleet_of):
    change = {"kind": "resin_change", "tank": "T-1", "at": "2026-05-04T08:00"}
    change |= {"change": "tank exchanged", "outlet_tds_after": 1.0}
    fleet = fleet_of([change], meters=[METER])
    assert fleet.of("tank", "T-1", "last_outlet_tds", "2026-05-05") == 1.0
    assert fleet.of("tank", "T-1", "uncertainty of last_outlet_tds", "2026-05-05") is None
