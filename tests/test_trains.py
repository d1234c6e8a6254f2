"""Tanks one after the other: what the register says of them, and what loads the second one."""

import pytest

from qa_engine.depletion.inlet import inlet_at
from qa_engine.plugins import mixed_bed, softening, two_bed
from qa_engine.water import load_eq_l

PLUGINS = (mixed_bed, two_bed, softening)
MODELS = [model for plugin in PLUGINS for model in plugin.qa_resin_models()]
LEAD_AND_POLISH = [
    {"tank": "T1", "position": "lead"},
    {"tank": "T2", "position": "polish", "after_tank": "T1"},
]
PAIR = [
    {"tank": "T1", "position": "cation"},
    {"tank": "T2", "position": "anion", "after_tank": "T1"},
]
ANALYSIS = {
    "kind": "water_analysis",
    "source": "S1",
    "at": "2026-03-01T08:00:00",
    "conductivity": 400.0,
    "hardness": 120.0,
    "alkalinity": 100.0,
    "ph": 7.5,
    "silica": 10.0,
}


def day(number, clock="10:00"):
    return f"2026-03-{number:02}T{clock}:00"


def change(tank, grade="standard mixed bed"):
    row = {"kind": "resin_change", "at": day(1), "tank": tank, "change": "emptied and refilled"}
    return row | {"grade": grade, "resin_volume": 20.0}


def reading(tank, at, **shown):
    return {"kind": "reading", "tank": tank, "at": at, "source": "S1", "sampled": "flowing"} | shown


def rinse(tank, at):
    return {"kind": "rinse", "tank": tank, "at": at, "source": "S1", "water_used": 1000.0}


def spent_eq(fleet, tank, at):
    return fleet.of("tank", tank, "charge_equivalents", at)


def train(fleet_of, tanks, *records, grades=("standard mixed bed",) * 2):
    changes = [change(tank, grade) for tank, grade in zip(("T1", "T2"), grades, strict=True)]
    return fleet_of([ANALYSIS, *changes, *records], models=MODELS, tanks=tanks)


def test_a_polish_tank_is_loaded_by_what_the_lead_tank_lets_through(fleet_of):
    """1000 L at 400 uS/cm for the lead; at 10 uS/cm, 5 mg/L, for the polish tank behind it."""
    fleet = train(
        fleet_of,
        LEAD_AND_POLISH,
        reading("T1", day(2), inlet_conductivity=400.0, outlet_conductivity=10.0),
        reading("T2", day(2), inlet_tds=5.0, outlet_tds=0.0),
        rinse("T1", day(3)),
        rinse("T2", day(3)),
    )
    analysed = load_eq_l(400.0, alkalinity_mg_l=100.0, ph=7.5, silica_mg_l=10.0)
    assert spent_eq(fleet, "T1", day(4)) == pytest.approx(1000 * analysed)
    # The analysis is of the source: its silica and alkalinity never reach the polish tank.
    assert spent_eq(fleet, "T2", day(4)) == pytest.approx(1000 * load_eq_l(10.0))


def test_the_load_of_a_polish_tank_follows_its_inlet(fleet_of):
    fleet = train(
        fleet_of,
        LEAD_AND_POLISH,
        reading("T2", day(2), inlet_tds=5.0),
        rinse("T2", day(3)),
        reading("T2", day(4), inlet_tds=20.0),
        rinse("T2", day(5)),
    )
    first, both = (spent_eq(fleet, "T2", at) for at in (day(3), day(6)))
    assert first == pytest.approx(1000 * load_eq_l(10.0))
    assert both - first == pytest.approx(1000 * load_eq_l(40.0))


def test_a_polish_tank_whose_inlet_nobody_read_has_an_unknown_load(fleet_of):
    """The analysis would give a single tank 400 uS/cm; behind a lead tank that is not so."""
    records = (rinse("T2", day(3)),)
    assert spent_eq(train(fleet_of, LEAD_AND_POLISH, *records), "T2", day(4)) is None
    single = [{"tank": "T1"}, {"tank": "T2", "position": "single"}]
    assert spent_eq(train(fleet_of, single, *records), "T2", day(4)) > 0


def test_the_place_of_a_tank_is_that_of_the_day(fleet_of):
    """T2 becomes the polish tank on 5 March; before that the analysis holds."""
    tanks = [
        {"tank": "T1"},
        {"tank": "T2", "position": "single"},
        {"tank": "T2", "position": "polish", "after_tank": "T1", "from": "2026-03-05"},
    ]
    fleet = train(fleet_of, tanks, rinse("T2", day(3)), rinse("T2", day(7)))
    assert spent_eq(fleet, "T2", day(4)) > 0
    assert spent_eq(fleet, "T2", day(8)) is None


def test_an_anion_vessel_knows_its_source_but_reads_its_own_inlet(fleet_of):
    fleet = train(
        fleet_of,
        PAIR,
        reading("T1", day(2), inlet_conductivity=400.0, outlet_conductivity=700.0),
        reading("T2", day(2, "10:05"), inlet_conductivity=700.0, outlet_conductivity=15.0),
        rinse("T2", day(3)),
        grades=("two-bed cation", "two-bed anion"),
    )
    water = inlet_at(fleet.thing("tank", "T2", day(3)), fleet.past.history).row(0, named=True)
    assert water["conductivity_us_cm"] == 700.0
    assert (water["alkalinity_mg_l"], water["ph"], water["silica_mg_l"]) == (100.0, 7.5, 10.0)
    # 700/418.9 = 1.671 strong, 1.998 of alkalinity, 0.1422 of carbon dioxide, 0.1664 of silica.
    assert spent_eq(fleet, "T2", day(4)) == pytest.approx(3.978, abs=0.002)


def test_an_anion_vessel_is_not_fed_by_the_tap(fleet_of):
    grades = ("two-bed cation", "two-bed anion")
    fleet = train(fleet_of, PAIR, rinse("T2", day(3)), grades=grades)
    assert spent_eq(fleet, "T2", day(4)) is None


def test_only_the_cation_vessel_of_a_pair_is_spared_the_rules_on_outlet_tds(fleet_of):
    grades = ("two-bed cation", "two-bed anion")
    fleet = train(fleet_of, PAIR, grades=grades)
    assert fleet.of("tank", "T1", "lowers_tds", day(2)) is False
    assert fleet.of("tank", "T1", "softening_bed", day(2)) is False
    assert fleet.of("tank", "T2", "lowers_tds", day(2)) is True


def test_a_softening_bed_is_loaded_by_the_hardness_of_an_analysis_alone(fleet_of):
    """120 mg/L as CaCO3 is 2.398 meq/L; nobody read TDS, and the meter need not."""
    hard = {name: value for name, value in ANALYSIS.items() if name != "conductivity"}
    records = [hard, change("T1", "softening"), rinse("T1", day(3))]
    fleet = fleet_of(records, models=MODELS, tanks=[{"tank": "T1"}])
    assert spent_eq(fleet, "T1", day(4)) == pytest.approx(2.398, abs=0.001)
    assert fleet.of("tank", "T1", "softening_bed", day(4)) is True
