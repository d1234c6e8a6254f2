"""The trade's rule of thumb: 90 cars or 15 large motorhomes on half a cubic foot of resin."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qa_engine.facts.charge_facts import charge_subjects
from qa_engine.facts.past import Past
from qa_engine.history import History
from qa_engine.plugins import rule_of_thumb
from qa_engine.records import KINDS
from qa_engine.register import TABLES, Register

HALF_CUBIC_FOOT_L = 14.158423296  # 28.316846592 / 2
CAR_L = 37.85411784  # 10 US gal
MOTORHOME_L = 227.12470704  # 60 US gal
START = datetime(2026, 3, 2, 8, tzinfo=UTC)
CLASSES = {"car": CAR_L, "motorhome": MOTORHOME_L, "toy": 0.0}


def at(hour):
    return START + timedelta(hours=hour)


def past_of(changes, rinses):
    """Return a past of changes (hour, tank, change, litres), rinses (hour, tank, class, count)."""
    rows = {
        "resin_change": [
            {"record": f"C{n}", "at": at(h), "tank": t, "change": c, "resin_volume": v}
            for n, (h, t, c, v) in enumerate(changes)
        ],
        "rinse": [
            {"record": f"R{n:03}", "at": at(h), "tank": t, "vehicle_class": c, "rinses": k}
            for n, (h, t, c, k) in enumerate(rinses)
        ],
    }
    frames = {
        kind: pl.DataFrame(some, {n: KINDS[kind].fields[n].dtype for n in some[0]})
        for kind, some in rows.items()
        if some
    }
    zone = ZoneInfo("UTC")
    table = [{"vehicle_class": name, "water_per_rinse": litres} for name, litres in CLASSES.items()]
    tables = {"vehicle_classes": TABLES["vehicle_classes"].frame(table, zone)}
    history = History.of_records(frames, Register("Invented Rinsing", zone, tables))
    return Past(history, {}, at(1000))


def rated(past, *hours, tank="T1"):
    """Return what the one group of the plugin finds for a tank at some hours."""
    (group,) = rule_of_thumb.qa_facts()
    subjects = pl.DataFrame(
        {"tank": [tank] * len(hours), "at": [at(h) for h in hours]},
        schema={"tank": pl.String(), "at": pl.Datetime("us", "UTC")},
    )
    return group.find(subjects, past)


FILLED = (0, "T1", "emptied and refilled", HALF_CUBIC_FOOT_L)


def test_the_plugin_declares_a_count_for_charge_tank_and_rinse():
    (group,) = rule_of_thumb.qa_facts()
    (fact,) = group.facts
    assert group.subjects == ("charge", "tank", "rinse")
    assert (fact.name, fact.type, fact.unit) == ("rated_rinses", "number", "count")
    assert not group.looks_ahead


def test_before_the_first_rinse_a_charge_is_rated_for_cars():
    found = rated(past_of([FILLED], []), 0, 5)
    assert found["rated_rinses"].to_list() == pytest.approx([90.0, 90.0])
    assert found["evidence"].to_list() == ["C0", "C0"]


def test_cars_only_are_90_and_motorhomes_only_15():
    """227.12 L is six times 37.85 L, and 90 / 6 = 15."""
    cars = past_of([FILLED], [(1, "T1", "car", 3)])
    motorhomes = past_of([FILLED], [(1, "T1", "motorhome", 3)])
    assert rated(cars, 1)["rated_rinses"].item() == pytest.approx(90.0)
    assert rated(motorhomes, 1)["rated_rinses"].item() == pytest.approx(15.0)


def test_a_mix_is_rated_by_its_mean_and_only_as_far_as_it_has_come():
    """At 1 h a motorhome: 15. At 2 h 5 cars more: (6 + 5)/6 cars each, 90 x 6/11 = 49.09."""
    past = past_of([FILLED], [(1, "T1", "motorhome", 1), (2, "T1", "car", 5), (3, "T2", "car", 9)])
    found = rated(past, 0.5, 1, 2, 9)["rated_rinses"].to_list()
    assert found == pytest.approx([90.0, 15.0, 90 * 6 / 11, 90 * 6 / 11])


def test_the_rating_grows_with_the_resin_and_a_top_up_is_resin():
    """Half as much 45; topped up by as much again 90; the rinses before it still count."""
    half = HALF_CUBIC_FOOT_L / 2
    past = past_of(
        [(0, "T1", "emptied and refilled", half), (2, "T1", "topped up", half)],
        [(1, "T1", "motorhome", 1)],
    )
    found = rated(past, 0, 1, 2)["rated_rinses"].to_list()
    assert found == pytest.approx([45.0, 7.5, 15.0])


def test_a_new_charge_starts_with_a_new_mix():
    past = past_of(
        [FILLED, (2, "T1", "tank exchanged", HALF_CUBIC_FOOT_L)], [(1, "T1", "motorhome", 1)]
    )
    found = rated(past, 1, 2)
    assert found["rated_rinses"].to_list() == pytest.approx([15.0, 90.0])
    assert found["evidence"].to_list() == ["C0", "C1"]


@pytest.mark.parametrize(
    "rinse", [(2, "T1", "boat", 1), (2, "T1", None, 1), (2, "T1", "car", None)]
)
def test_from_an_unknown_rinse_to_the_end_of_the_charge_the_rating_is_unknown(rinse):
    past = past_of(
        [FILLED, (5, "T1", "emptied and refilled", HALF_CUBIC_FOOT_L)],
        [(1, "T1", "car", 1), rinse, (3, "T1", "car", 1)],
    )
    found = rated(past, 1, 2, 3, 5)["rated_rinses"].to_list()
    assert found == [pytest.approx(90.0), None, None, pytest.approx(90.0)]


def test_resin_that_nobody_knows_is_not_rated():
    """A volume not logged; a tank without a change on record; a tank without any record."""
    assert rated(past_of([(0, "T1", "tank exchanged", None)], []), 1)["rated_rinses"].item() is None
    started = past_of([], [(0, "T1", "car", 1)])
    assert rated(started, 1)["rated_rinses"].item() is None
    assert rated(started, 1, tank="T9")["rated_rinses"].item() is None


def test_a_rinse_of_no_vehicle_leaves_the_rating_for_cars():
    past = past_of([FILLED], [(1, "T1", "motorhome", 0)])
    assert rated(past, 1)["rated_rinses"].item() == pytest.approx(90.0)


def test_vehicles_that_take_no_water_have_no_rating():
    past = past_of([FILLED], [(1, "T1", "toy", 2)])
    assert rated(past, 1)["rated_rinses"].item() is None


def test_an_ended_charge_is_rated_by_its_own_mix():
    past = past_of(
        [FILLED, (2, "T1", "emptied and refilled", HALF_CUBIC_FOOT_L)],
        [(1, "T1", "motorhome", 1), (3, "T1", "car", 1)],
    )
    (group,) = rule_of_thumb.qa_facts()
    subjects = charge_subjects(past)
    assert subjects["subject"].to_list() == ["T1@C0", "T1@C1"]
    found = group.find(subjects, past)["rated_rinses"].to_list()
    assert found == pytest.approx([15.0, 90.0])


RINSES = st.lists(
    st.tuples(
        st.sampled_from(["T1", "T2"]), st.sampled_from(["car", "motorhome"]), st.integers(1, 5)
    ),
    max_size=12,
)


@settings(deadline=None, max_examples=40)
@given(logged=RINSES, seen=st.integers(0, 12))
def test_later_rinses_and_other_tanks_change_nothing(logged, seen):
    """By hand: 90 x vehicles / (cars + 6 x motorhomes), over this tank's rinses so far."""
    rinses = [(n + 1, *one) for n, one in enumerate(logged)]
    cars = sum(k for h, t, c, k in rinses if h <= seen and t == "T1" and c == "car")
    motorhomes = sum(k for h, t, c, k in rinses if h <= seen and t == "T1" and c == "motorhome")
    vehicles = cars + motorhomes
    expected = 90.0 * vehicles / (cars + 6 * motorhomes) if vehicles else 90.0
    found = rated(past_of([FILLED], rinses), seen)["rated_rinses"].item()
    assert found == pytest.approx(expected)
