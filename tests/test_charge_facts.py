"""Facts about charges, grades and water, with sums done by hand; and laws that all of them keep.

The model of these tests spends 0.01 eq/L for each mg/L of TDS: 200 mg/L is 2 eq/L. Its resin takes
up 100 eq per litre, and its outlet shows the used fraction of the inlet, plus the flow in BV/h.
"""

from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from polars.testing import assert_frame_equal

from qa_engine.depletion import Capacity, Grade
from qa_engine.facts.charge_facts import CHARGE_FACTS, charge_subjects
from qa_engine.facts.grade_facts import GRADE_FACTS
from qa_engine.facts.past import Past
from qa_engine.facts.water_facts import WATER_FACTS
from qa_engine.plugins.mixed_bed import qa_resin_models

GRADE = Grade(
    "round numbers", "mixed bed", Capacity(100.0, 1.0, "invented"), True, 1, 8, 40, "none"
)
GROUPS = (*GRADE_FACTS, *CHARGE_FACTS, *WATER_FACTS)


@dataclass(frozen=True)
class RoundNumbers:
    """Spends 0.01 eq/L for each mg/L."""

    grade: Grade = GRADE

    def load_eq_l(self, water):
        return water.tds_mg_l / 100

    def outlet_mg_l(self, used_fraction, water, flow_bv_h, transfer_units=None):
        return used_fraction * water.tds_mg_l + np.nan_to_num(flow_bv_h)


def day(number, clock="10:00"):
    return f"2026-03-{number:02}T{clock}:00"


def rinse(at, **fields):
    return {"kind": "rinse", "tank": "T1", "at": at} | fields


def reading(at, **fields):
    return {"kind": "reading", "tank": "T1", "at": at} | fields


def change(at, **fields):
    row = {"kind": "resin_change", "tank": "T1", "at": at, "change": "emptied and refilled"}
    return row | {"record": "C1", "grade": "round numbers", "resin_volume": 10.0} | fields


LIFE = (
    change(day(1)),
    reading(day(1, "12:00"), inlet_tds=200.0),
    rinse(day(2), record="R1", water_used=100.0, rinses=2, flow=5.0),
    rinse(day(4), record="R2", water_used=150.0, rinses=1),
    change(day(6), record="C2", change="topped up", resin_volume=2.5, grade=None),
    rinse(day(8), record="R3", water_used=300.0, rinses=4),
)
"""200 eq on day 2, 300 more on day 4, 600 more on day 8; 10 L of resin, 12.5 L from day 6 on."""


@pytest.fixture
def life(fleet_of):
    return fleet_of(LIFE, models=[RoundNumbers()], tanks=[{"tank": "T1", "bore": 200.0}])


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        # on day 1, day 2, day 3, day 6 and day 9, each at ten o'clock
        ("charge_age", [0, 1, 2, 5, 8]),
        ("charge_resin_volume", [10, 10, 10, 12.5, 12.5]),
        ("charge_rinses", [0, 2, 2, 3, 7]),
        ("charge_water", [0, 100, 100, 250, 550]),
        ("charge_equivalents", [0, 200, 200, 500, 1100]),
        ("charge_capacity", [1000, 1000, 1000, 1250, 1250]),
        ("used_fraction", [0, 0.2, 0.2, 0.4, 0.88]),
        # (1000 - 200) / 2 = 400; (1250 - 500) / 2 = 375; (1250 - 1100) / 2 = 75
        ("litres_left", [None, 400, 400, 375, 75]),
        # 0.2 x 200, 0.4 x 200, 0.88 x 200
        ("expected_outlet", [None, 40, 40, 80, 176]),
        ("grade", ["round numbers"] * 5),
        ("charge_known", [True] * 5),
    ],
)
@pytest.mark.parametrize("kind", ["tank", "charge"])
def test_a_charge_as_time_goes_by(life, kind, name, expected):
    found = life.of(kind, "T1", name, *(day(number) for number in (1, 2, 3, 6, 9)))
    assert found == (expected if name in ("grade", "charge_known") else pytest.approx(expected))
    assert life.evidence(kind, "T1", name, day(9)) == "C1"


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("charge_rinses", [2, 3, 7]),
        ("charge_water", [100, 250, 550]),
        ("charge_equivalents", [200, 500, 1100]),
        ("charge_age", [1, 3, 7]),
        ("rinse_water", [100, 150, 300]),
        ("rinse_water_basis", ["logged"] * 3),
        ("bed_flow", [30, None, None]),  # 5 L/min are 300 L/h, over 10 L
        ("bed_velocity", [9.549297, None, None]),  # 0.3 m3/h over 0.0314159 m2
        # 0.2 x 200 + 30; 0.5 x 200; 0.88 x 200
        ("expected_outlet", [70, 100, 176]),
    ],
)
def test_a_rinse_counts_itself(life, name, expected):
    found = life.of_events("rinse", name)
    assert found == (expected if name == "rinse_water_basis" else pytest.approx(expected))


def test_the_water_of_a_rinse_cites_the_rinse(life):
    found = life.found("rinse", "rinse_water", life.events("rinse"))
    assert found["evidence"].to_list() == ["R1", "R2", "R3"]


def test_some_of_the_rinses_in_another_order_get_their_own_water(life):
    subjects = life.events("rinse").filter(pl.col("record") != "R2").reverse()
    found = life.found("rinse", "rinse_water", subjects)
    assert found.rows() == [(300.0, "R3"), (100.0, "R1")]


def test_litres_left_never_fall_below_nothing(fleet_of):
    """1000 eq of capacity, 600 L x 2 eq/L = 1200 eq spent."""
    records = [*LIFE[:2], rinse(day(2), water_used=600.0)]
    fleet = fleet_of(records, models=[RoundNumbers()])
    assert fleet.of("tank", "T1", "litres_left", day(3)) == 0.0
    assert fleet.of("tank", "T1", "used_fraction", day(3)) == pytest.approx(1.2)


@pytest.mark.parametrize(
    "name",
    [
        "charge_age",
        "charge_resin_volume",
        "charge_rinses",
        "charge_water",
        "charge_equivalents",
        "charge_capacity",
        "used_fraction",
        "litres_left",
        "expected_outlet",
        "grade",
    ],
)
def test_of_a_charge_that_began_before_the_records_little_is_known(fleet_of, name):
    fleet = fleet_of(LIFE[1:4], models=[RoundNumbers()])
    assert fleet.of("tank", "T1", name, day(5)) is None
    assert fleet.of("tank", "T1", "charge_known", day(5)) is False


def test_resin_of_no_volume_gives_no_fraction_and_no_flow(fleet_of):
    records = [change(day(1), resin_volume=0.0), *LIFE[1:3]]
    fleet = fleet_of(records, models=[RoundNumbers()])
    assert fleet.of("tank", "T1", "used_fraction", day(3)) is None
    assert fleet.of_events("rinse", "bed_flow") == [None]


def test_the_charges_of_the_frames_asked_last_are_found_once(life):
    past, frames = life.past, [life.thing("tank", "T1", day(n)) for n in (2, 3, 4)]
    first, second = past.charge_of(frames[0]), past.charge_of(frames[1])
    assert past.charge_of(frames[0]) is first
    assert past.charge_of(frames[1]) is second
    past.charge_of(frames[2])
    assert past.charge_of(frames[1]) is second


class TestGrade:
    """What the model of a grade tells about the bed."""

    def test_data_of_the_grade(self, life):
        for kind in ("tank", "charge", "rinse", "reading", "resin_change", "seal_service"):
            subjects = life.thing("tank", "T1", day(3))
            for name, expected in (
                ("grade_known", True),
                ("softening_bed", False),
                ("lowers_tds", True),
                ("grade_outlet_after", 1.0),
                ("grade_least_flow", 8.0),
                ("grade_greatest_flow", 40.0),
            ):
                assert life.found(kind, name, subjects)["fact"].to_list() == [expected]

    @pytest.mark.parametrize(
        ("bed", "lowers", "softens"),
        [("softening", False, True), ("two-bed", False, False), ("two-bed", True, False)],
    )
    def test_a_bed_may_leave_tds_as_it_is_without_being_a_softening_bed(
        self, fleet_of, bed, lowers, softens
    ):
        fleet = fleet_of(LIFE, models=[RoundNumbers(replace(GRADE, bed=bed, lowers_tds=lowers))])
        found = [fleet.of("tank", "T1", name, day(3)) for name in ("lowers_tds", "softening_bed")]
        assert found == [lowers, softens]

    def test_a_grade_without_a_model_is_not_known(self, fleet_of):
        fleet = fleet_of(LIFE)
        assert fleet.of("tank", "T1", "grade_known", day(3)) is False
        assert fleet.of("tank", "T1", "softening_bed", day(3)) is False
        assert fleet.of("tank", "T1", "lowers_tds", day(3)) is True
        assert fleet.of("tank", "T1", "grade_greatest_flow", day(3)) is None

    def test_while_a_plugin_is_missing_nothing_is_concluded_from_silence(self, fleet_of):
        fleet = fleet_of([*LIFE, change(day(20), record="C3", grade=None)])
        past = replace(fleet.past, models_complete=False)
        subjects = fleet.thing("tank", "T1", day(3), day(21))
        found = GRADE_FACTS[1].find(subjects, past)
        assert found["grade_known"].to_list() == [None, False]
        assert found["softening_bed"].to_list() == [None, False]
        assert found["lowers_tds"].to_list() == [None, True]


class TestCounter:
    """Litres logged against litres by the counter, between its first and last value of a charge."""

    def both(self, fleet, at):
        names = ("water_logged", "water_counted")
        return [fleet.of("tank", "T1", name, at) for name in names]

    def test_only_what_lies_between_the_first_and_the_last_value_counts(self, fleet_of):
        """From 1000 to 1260 L by the counter; 100 + 150 L logged; 70 and 30 L lie outside."""
        fleet = fleet_of(
            [
                change(day(1)),
                rinse(day(2), water_used=70.0),
                reading(day(3), counter=1000.0),
                rinse(day(4), water_used=100.0),
                rinse(day(5), water_used=150.0, counter=1260.0),
                rinse(day(6), water_used=30.0),
            ]
        )
        assert self.both(fleet, day(3)) == [None, None]
        assert self.both(fleet, day(7)) == [250.0, 260.0]

    def test_the_change_that_begins_the_charge_may_give_the_first_value(self, fleet_of):
        fleet = fleet_of(
            [
                reading(day(1), counter=10.0),
                change(day(2), counter=1000.0),
                rinse(day(3), water_used=100.0, counter=1101.0),
            ]
        )
        assert self.both(fleet, day(4)) == [100.0, 101.0]

    def test_a_rinse_without_litres_leaves_the_logged_water_unknown(self, fleet_of):
        fleet = fleet_of(
            [change(day(1), counter=0.0), rinse(day(2)), reading(day(3), counter=90.0)]
        )
        assert self.both(fleet, day(4)) == [None, 90.0]

    def test_a_counter_that_went_backwards_leaves_the_counted_water_unknown(self, fleet_of):
        fleet = fleet_of(
            [
                change(day(1), counter=500.0),
                rinse(day(2), water_used=10.0, counter=5.0),
                rinse(day(3), water_used=10.0, counter=515.0),
            ]
        )
        assert self.both(fleet, day(4)) == [20.0, None]

    def test_the_next_charge_starts_anew(self, fleet_of):
        fleet = fleet_of(
            [
                change(day(1), counter=500.0),
                reading(day(2), counter=600.0),
                change(day(3), record="C2", counter=610.0),
                rinse(day(4), water_used=33.0, counter=640.0),
            ]
        )
        assert self.both(fleet, day(5)) == [33.0, 30.0]


class TestChargesAsSubjects:
    """A charge that has ended is judged at its end, one in use as of the inspection."""

    @pytest.fixture
    def two(self, fleet_of):
        return fleet_of(
            [
                rinse(day(1, "08:00")),
                *LIFE,
                reading(day(8), van="V1"),
                rinse(day(9), water_used=1.0, van="V2"),
                change(day(10), record="C9", van="V3"),
            ],
            models=[RoundNumbers()],
            tanks=[{"tank": "T1", "van": "V7"}],
        )

    def test_each_has_the_last_instant_of_its_own(self, two):
        found = charge_subjects(two.past)
        assert found["subject"].to_list() == ["T1@start", "T1@C1", "T1@C9"]
        assert found["at"].to_list() == [
            datetime.fromisoformat("2026-03-01T09:59:59.999999+00:00"),
            datetime.fromisoformat("2026-03-10T09:59:59.999999+00:00"),
            two.past.as_of,
        ]

    def test_its_van_is_the_one_that_last_logged_the_tank_by_then(self, two):
        assert charge_subjects(two.past)["van"].to_list() == ["V7", "V2", "V3"]

    def test_facts_are_those_of_its_end(self, two):
        subjects = charge_subjects(two.past)
        assert two.found("charge", "charge_rinses", subjects)["fact"].to_list() == [None, None, 0]
        assert two.found("charge", "charge_water", subjects)["fact"].to_list() == [None, 551, 0]
        volumes = two.found("charge", "charge_resin_volume", subjects)["fact"].to_list()
        assert volumes == [None, 12.5, 10]
        ages = two.found("charge", "charge_age", subjects)["fact"].to_list()
        assert ages[:2] == [None, pytest.approx(9)]

    def test_a_charge_changed_at_the_instant_it_began_is_judged_as_itself(self, fleet_of):
        fleet = fleet_of([rinse(day(1)), change(day(2)), change(day(2), record="C2")])
        subjects = charge_subjects(fleet.past)
        assert subjects["subject"].to_list() == ["T1@start", "T1@C1", "T1@C2"]
        assert fleet.found("charge", "charge_known", subjects).rows() == [
            (False, None),
            (True, "C1"),
            (True, "C2"),
        ]
        assert fleet.found("charge", "charge_age", subjects)["fact"].to_list()[1] == 0.0


CLASSES = [{"vehicle_class": "car", "water_per_rinse": 40.0}]
GRADES = ["standard mixed bed", "unheard of", None]
SEVERAL = st.sampled_from([None, 1.0, 2.0, 5.0])


def record_of(kind, **fields):
    hours = st.integers(0, 12).map(lambda hour: day(1, f"{hour:02}:00"))
    tank = st.sampled_from(["T1", "T2", "T3"])
    return st.fixed_dictionaries({"kind": st.just(kind), "at": hours, "tank": tank} | fields)


COUNTERS = st.sampled_from([None, 100.0, 150.0, 260.0, 900.0])
RECORDS = st.lists(
    st.one_of(
        record_of(
            "rinse",
            vehicle_class=st.sampled_from([None, "car"]),
            rinses=SEVERAL,
            water_used=st.sampled_from([None, 40.1, 100.0]),
            counter=COUNTERS,
            flow=SEVERAL,
        ),
        record_of("rinse", rinses=st.just(1.0), water_used=st.floats(0, 300), source=st.just("S1")),
        record_of("reading", inlet_tds=st.sampled_from([None, 120.0, 300.0]), counter=COUNTERS),
        record_of(
            "resin_change",
            change=st.sampled_from(["emptied and refilled", "topped up", None]),
            grade=st.sampled_from(GRADES),
            resin_volume=st.sampled_from([14.0, None]),
            counter=COUNTERS,
        ),
    ),
    max_size=25,
).map(lambda rows: [row | {"record": f"R{number}"} for number, row in enumerate(rows)])
KINDS = ("rinse", "reading", "resin_change")
HOURS = [day(1, f"{hour:02}:30") for hour in range(12)]


def all_facts(fleet, past: Past):
    """Return every fact of these groups, of events by record and of tanks by the hour."""
    subjects = {kind: fleet.events(kind) for kind in KINDS}
    subjects["tank"] = pl.concat(fleet.thing("tank", tank, *HOURS) for tank in ("T1", "T2", "T3"))
    return {
        kind: pl.concat(
            [
                frame.select("subject", "at"),
                *(
                    group.find(frame, past).rename({"evidence": f"evidence {number}"})
                    for number, group in enumerate(GROUPS)
                    if kind in group.subjects
                ),
            ],
            how="horizontal",
        )
        for kind, frame in subjects.items()
    }


def same(one, other):
    for kind in one:
        assert_frame_equal(one[kind], other[kind], check_exact=True)


@pytest.fixture(scope="module")
def any_fleet(fleet_of):
    return lambda records: fleet_of(records, models=qa_resin_models(), vehicle_classes=CLASSES)


LAWS = settings(deadline=None, max_examples=20)


@LAWS
@given(records=RECORDS, last=st.integers(0, 12))
def test_what_comes_later_changes_no_fact(any_fleet, records, last):
    until = day(1, f"{last:02}:45")
    whole = any_fleet(records)
    until_then = any_fleet([record for record in records if record["at"] <= until])
    by_then = pl.col("at") <= pl.lit(until).str.to_datetime(time_zone="UTC")
    facts, earlier = all_facts(whole, whole.past), all_facts(until_then, until_then.past)
    same(*({k: f.filter(by_then) for k, f in found.items()} for found in (facts, earlier)))


@LAWS
@given(records=RECORDS, order=st.randoms(use_true_random=False))
def test_the_order_in_which_records_arrive_changes_no_fact(any_fleet, records, order):
    fleet = any_fleet(records)
    shuffled = any_fleet(order.sample(records, len(records)))
    same(all_facts(fleet, fleet.past), all_facts(shuffled, shuffled.past))


@LAWS
@given(records=RECORDS, count=st.integers(2, 3))
def test_blocks_of_tanks_sum_as_the_whole_fleet_does(any_fleet, records, count):
    past = any_fleet(records).past
    blocks = [replace(past, history=block, _asked=[]) for block in past.history.blocks(count)]
    for name in ("charges", "usage", "resin", "counters"):
        parts = pl.concat(getattr(block, name) for block in blocks)
        assert_frame_equal(parts, getattr(past, name), check_exact=True)


@LAWS
@given(records=RECORDS)
def test_the_water_of_a_charge_is_that_of_its_rinses(any_fleet, records):
    fleet = any_fleet(records)
    subjects = charge_subjects(fleet.past)
    total = subjects.select(
        "charge", fleet.found("charge", "charge_water", subjects)["fact"].alias("total")
    ).drop_nulls()
    rinses = fleet.past.usage.group_by("charge").agg(pl.col("water").sum())
    sums = total.join(rinses, on="charge", how="left", maintain_order="left")
    assert sums["total"].to_list() == pytest.approx(sums["water"].fill_null(0).to_list())


@LAWS
@given(records=RECORDS)
def test_no_sum_is_known_where_a_part_of_it_is_not(any_fleet, records):
    usage = any_fleet(records).past.usage
    for part, total in (("water", "total_water"), ("rinses", "total_rinses")):
        unknown = pl.col(part).is_null().cum_max().over("charge")
        assert usage.filter(unknown)[total].null_count() == usage.filter(unknown).height
