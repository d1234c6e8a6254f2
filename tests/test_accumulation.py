"""What rinses take from a charge: water, load and sums, done by hand with round numbers.

The model of these tests spends 0.01 eq/L for each mg/L of TDS: 200 mg/L is 2 eq/L.
"""

from dataclasses import dataclass, field

import numpy as np
import pytest

from qa_engine.depletion import Capacity, Grade, Water
from qa_engine.depletion.accumulation import usage_of

GRADE = Grade("round numbers", "mixed bed", Capacity(10.0, 1.0, "invented"), True, 1, 8, 40, "none")


@dataclass
class RoundNumbers:
    """Spends 0.01 eq/L for each mg/L; remembers the waters it was asked about."""

    grade: Grade = GRADE
    asked: list[Water] = field(default_factory=list)

    def load_eq_l(self, water):
        self.asked.append(water)
        shown = np.where(np.isnan(water.tds_mg_l), water.conductivity_us_cm / 2, water.tds_mg_l)
        return shown / 100

    def outlet_mg_l(self, used_fraction, water, flow_bv_h, transfer_units=None):
        return used_fraction * water.tds_mg_l


def day(number, clock="10:00"):
    return f"2026-03-{number:02}T{clock}:00"


def rinse(at, **fields):
    return {"kind": "rinse", "tank": "T1", "at": at} | fields


def reading(at, **fields):
    return {"kind": "reading", "tank": "T1", "at": at} | fields


def change(at, **fields):
    row = {"kind": "resin_change", "tank": "T1", "at": at, "change": "emptied and refilled"}
    return row | {"grade": "round numbers", "resin_volume": 14.0} | fields


CLASSES = [{"vehicle_class": "car", "water_per_rinse": 40.0}]


@pytest.fixture
def usage(fleet_of):
    """Return a column of what was used, rinse for rinse in the order of (tank, at, record)."""

    def find(column, records, models=(), **tables):
        past = fleet_of(records, models=models, vehicle_classes=CLASSES, **tables).past
        return usage_of(past.history, past.charges, past.models)[column].to_list()

    return find


class TestWater:
    """Litres as logged, else by the counter, else by the class of vehicle."""

    def test_logged_litres_count_before_the_counter_and_the_class(self, usage):
        records = [
            reading(day(1), counter=1000.0),
            rinse(day(2), water_used=130.0, counter=1200.0, vehicle_class="car", rinses=2),
        ]
        assert usage("water", records) == [130.0]
        assert usage("water_basis", records) == ["logged"]

    @pytest.mark.parametrize("kind", ["reading", "resin_change", "rinse"])
    def test_the_counter_gives_what_it_gained_since_its_last_value_of_any_kind(self, usage, kind):
        """1180.5 - 1000 = 180.5 L."""
        before = {"kind": kind, "tank": "T1", "at": day(1), "counter": 1000.0}
        records = [before, rinse(day(2), counter=1180.5)]
        assert usage("water", records)[-1] == 180.5
        assert usage("water_basis", records)[-1] == "counter"

    def test_litres_logged_in_between_are_not_counted_twice(self, usage):
        """From 1000 to 1300 L are 300 L, less 120.3 L and 30 L logged: 149.7 L."""
        records = [
            reading(day(1), counter=1000.0),
            rinse(day(2), water_used=120.3),
            rinse(day(3), water_used=30.0),
            rinse(day(4), counter=1300.0),
        ]
        assert usage("water", records) == [120.3, 30.0, 149.7]

    def test_another_rinse_without_litres_in_between_leaves_the_counter_silent(self, usage):
        records = [
            reading(day(1), counter=1000.0),
            rinse(day(2)),
            rinse(day(3), counter=1300.0),
            rinse(day(4), counter=1350.0),
        ]
        assert usage("water", records) == [None, None, 50.0]

    def test_a_counter_that_went_backwards_gives_nothing_rather_than_less_than_nothing(self, usage):
        records = [reading(day(1), counter=9000.0), rinse(day(2), counter=150.0)]
        assert usage("water", records) == [None]

    def test_a_counter_that_gained_less_than_was_logged_gives_nothing(self, usage):
        """From 1000 to 1100 L are 100 L, but 120 L were logged."""
        records = [
            reading(day(1), counter=1000.0),
            rinse(day(2), water_used=120.0),
            rinse(day(3), counter=1100.0),
        ]
        assert usage("water", records) == [120.0, None]

    def test_the_counter_of_another_tank_says_nothing(self, usage):
        records = [reading(day(1), counter=1000.0), rinse(day(2), tank="T2", counter=1100.0)]
        assert usage("water", records) == [None]

    def test_a_reading_at_the_same_instant_was_taken_when_the_water_had_run(self, usage):
        """1000 to 1100 by the rinse; the reading then shows the same 1100."""
        records = [
            reading(day(1), counter=1000.0),
            reading(day(2), counter=1100.0),
            rinse(day(2), counter=1100.0),
            rinse(day(3), counter=1150.0),
        ]
        assert usage("water", records) == [100.0, 50.0]

    def test_the_class_gives_its_water_for_each_vehicle(self, usage):
        """3 x 40 = 120 L."""
        records = [rinse(day(1), vehicle_class="car", rinses=3)]
        assert usage("water", records) == [120.0]
        assert usage("water_basis", records) == ["class"]

    @pytest.mark.parametrize(
        "fields", [{"rinses": 3}, {"vehicle_class": "car"}, {"rinses": 1, "vehicle_class": "ship"}]
    )
    def test_without_class_count_or_register_row_the_water_is_unknown(self, usage, fields):
        records = [rinse(day(1), **fields)]
        assert usage("water", records) == [None]
        assert usage("water_basis", records) == [None]


class TestInlet:
    """Which water the model is asked about."""

    def test_it_is_that_of_the_tanks_latest_reading(self, usage):
        """200 mg/L until the second, 300 mg/L from then on, the instant itself included."""
        records = [
            change(day(1)),
            reading(day(1), inlet_tds=200.0),
            rinse(day(2)),
            reading(day(3), inlet_tds=300.0),
            reading(day(3, "11:00"), outlet_tds=5.0),
            rinse(day(3)),
            reading(day(9), inlet_tds=900.0),
        ]
        assert usage("load_eq_l", records, [RoundNumbers()]) == [2.0, 3.0]

    def test_conductivity_alone_will_do_and_comes_with_the_meters_factor(self, usage):
        model = RoundNumbers()
        records = [
            change(day(1)),
            reading(day(1), inlet_conductivity=400.0, meter="M1"),
            rinse(day(2)),
        ]
        assert usage("load_eq_l", records, [model], meters=[{"meter": "M1", "factor": 0.64}]) == [2]
        (water,) = model.asked
        assert water.factor.tolist() == [0.64]
        assert np.isnan(water.tds_mg_l).all()

    def test_the_latest_analysis_of_the_named_source_goes_with_it(self, usage):
        model = RoundNumbers()
        analysis = {"kind": "water_analysis", "source": "S1"}
        records = [
            analysis | {"at": day(1), "hardness": 100.0, "ph": 7.0},
            analysis | {"at": day(2), "hardness": 150.0, "alkalinity": 120.0, "silica": 9.0},
            analysis | {"at": day(9), "hardness": 999.0},
            change(day(1)),
            reading(day(3), inlet_tds=200.0, source="S1"),
            rinse(day(4)),
        ]
        usage("load_eq_l", records, [model])
        (water,) = model.asked
        assert water.hardness_mg_l.tolist() == [150.0]
        assert water.alkalinity_mg_l.tolist() == [120.0]
        assert water.silica_mg_l.tolist() == [9.0]
        assert np.isnan(water.ph).all()

    def test_a_reading_at_one_source_says_nothing_of_the_water_from_another(self, usage):
        records = [change(day(1)), reading(day(1), inlet_tds=200.0, source="S1")]
        sources = [rinse(day(2), source=name) for name in ("S1", "S2", None)]
        assert usage("load_eq_l", records + sources, [RoundNumbers()]) == [2.0, None, 2.0]

    def test_without_a_reading_the_analysis_gives_the_conductivity(self, usage):
        """400 uS/cm is 200 mg/L to this model, so 2 eq/L."""
        analysis = {"kind": "water_analysis", "source": "S1", "at": day(1), "conductivity": 400.0}
        records = [analysis, change(day(1)), rinse(day(2), source="S1")]
        assert usage("load_eq_l", records, [RoundNumbers()]) == [2.0]

    def test_the_model_is_asked_once_and_never_about_an_unknown_water(self, usage):
        model = RoundNumbers()
        records = [
            change(day(1)),
            rinse(day(2)),
            reading(day(3), inlet_tds=200.0),
            rinse(day(4)),
            rinse(day(5)),
            reading(day(6), inlet_tds=100.0),
            rinse(day(7)),
        ]
        assert usage("load_eq_l", records, [model]) == [None, 2.0, 2.0, 1.0]
        (water,) = model.asked
        assert water.tds_mg_l.tolist() == [200.0, 100.0]

    def test_a_grade_without_a_model_has_no_load(self, usage):
        records = [change(day(1), grade="other"), reading(day(1), inlet_tds=200.0), rinse(day(2))]
        assert usage("load_eq_l", records, [RoundNumbers()]) == [None]

    @pytest.mark.parametrize("shown", [0.0, -5.0, float("inf"), float("nan")])
    def test_a_load_that_no_water_can_have_is_unknown(self, usage, shown):
        class Odd(RoundNumbers):
            def load_eq_l(self, water):
                return np.full(water.tds_mg_l.shape, shown)

        records = [change(day(1)), reading(day(1), inlet_tds=200.0), rinse(day(2))]
        assert usage("load_eq_l", records, [Odd()]) == [None]


class TestSums:
    """Sums run within a charge and stop at the first thing that is not known."""

    def test_they_run_from_the_change_on(self, usage):
        """2 eq/L: 100 L are 200 eq, 50 L more make 300 eq; after the change 10 L are 20 eq."""
        records = [
            change(day(1)),
            reading(day(1), inlet_tds=200.0),
            rinse(day(2), water_used=100.0, rinses=2),
            rinse(day(3), water_used=50.0, rinses=1),
            change(day(4)),
            rinse(day(4), water_used=10.0, rinses=1),
        ]
        assert usage("total_water", records) == [100.0, 150.0, 10.0]
        assert usage("total_rinses", records) == [2, 3, 1]
        assert usage("equivalents", records, [RoundNumbers()]) == [200.0, 100.0, 20.0]
        assert usage("total_equivalents", records, [RoundNumbers()]) == [200.0, 300.0, 20.0]

    def test_they_go_on_over_a_top_up(self, usage):
        records = [
            change(day(1)),
            rinse(day(2), water_used=100.0),
            change(day(3), change="topped up"),
            rinse(day(4), water_used=50.0),
        ]
        assert usage("total_water", records) == [100.0, 150.0]

    def test_an_unknown_rinse_leaves_its_sum_unknown_to_the_end_of_the_charge(self, usage):
        records = [
            change(day(1)),
            reading(day(1), inlet_tds=200.0),
            rinse(day(2), water_used=100.0, rinses=1),
            rinse(day(3), rinses=1),
            rinse(day(4), water_used=100.0),
            rinse(day(5), water_used=100.0, rinses=1),
            change(day(6)),
            rinse(day(7), water_used=100.0, rinses=1),
        ]
        assert usage("total_water", records) == [100.0, None, None, None, 100.0]
        assert usage("total_rinses", records) == [1, 2, None, None, 1]
        spent = usage("total_equivalents", records, [RoundNumbers()])
        assert spent == [200.0, None, None, None, 200.0]

    def test_nothing_is_summed_for_a_charge_that_began_before_the_records(self, usage):
        records = [rinse(day(1), water_used=100.0, rinses=1)]
        assert usage("charge", records) == ["T1@start"]
        assert usage("total_water", records) == [None]
        assert usage("total_rinses", records) == [None]

    def test_nothing_is_summed_from_a_change_that_may_have_been_a_top_up(self, usage):
        records = [change(day(1), change=None), rinse(day(2), water_used=100.0, rinses=1)]
        assert usage("total_water", records) == [None]

    def test_nothing_rinsed_gives_no_rows(self, usage):
        assert usage("total_water", []) == []
        assert usage("total_equivalents", [change(day(1))], [RoundNumbers()]) == []
