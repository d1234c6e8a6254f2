"""Softening: a bed that is judged by hardness and does not lower TDS."""

import numpy as np
import pytest

from qa_engine.depletion import ResinModel, Water
from qa_engine.plugins import softening
from qa_engine.units import conversion
from qa_engine.water import load_eq_l

NAN = float("nan")
(MODEL,) = softening.qa_resin_models()


def water_of(tds=NAN, conductivity=NAN, hardness=NAN):
    parts = (tds, conductivity, NAN, hardness, NAN, NAN, NAN)
    return Water(*np.broadcast_arrays(*(np.asarray(part, dtype=float) for part in parts)))


def test_the_grade_does_not_lower_tds():
    assert isinstance(MODEL, ResinModel)
    assert (MODEL.grade.name, MODEL.grade.bed) == ("softening", "softening")
    assert not MODEL.grade.lowers_tds


def test_capacity_stays_below_the_design_ceiling():
    """Ten States Standards, 4.4.2: 20 kgr/ft3, 20/21.868774 = 0.91454 eq/L; 85 % is 0.77736."""
    capacity = MODEL.grade.capacity
    assert capacity.mean_eq_l == pytest.approx(0.77736, abs=1e-5)
    kilograins = capacity.mean_eq_l * conversion("eq/L", "kgr/ft3 as CaCO3").factor
    assert kilograins == pytest.approx(17.0, rel=1e-9)


def test_hardness_is_the_load():
    """200.174 mg/L as CaCO3 is 4 meq/L, whatever else is in the water."""
    for rest in ({}, {"tds": 150.0}, {"conductivity": 900.0}):
        load = MODEL.load_eq_l(water_of(hardness=200.1738, **rest))
        assert 1000 * load == pytest.approx(4.0, rel=1e-6)


def test_a_water_that_is_not_analysed_counts_as_all_hard():
    assert MODEL.load_eq_l(water_of(conductivity=300.0)) == load_eq_l(300.0)
    assert np.isnan(MODEL.load_eq_l(water_of()))


def test_soft_water_still_spends_something():
    """Less than 1 mg/L as CaCO3, 0.02 meq/L, is not told from nothing."""
    assert 1000 * MODEL.load_eq_l(water_of(hardness=0.0, tds=150.0)) == pytest.approx(
        0.01998, rel=1e-3
    )


def test_the_meter_shows_the_inlet_whatever_the_use():
    water = water_of(tds=np.full((2, 1), 150.0))
    shown = MODEL.outlet_mg_l(np.array([0.0, 0.9, 2.0]), water, np.full(3, NAN))
    assert shown.tolist() == [[150.0] * 3] * 2
    grid = MODEL.outlet_mg_l(np.zeros(3), water, np.array(NAN), np.full((4, 1, 1), 20.0))
    assert grid.shape == (4, 2, 3)
