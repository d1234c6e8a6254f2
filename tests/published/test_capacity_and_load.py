"""Loads of waters and capacities of beds, against printed and independently computed values."""

import pytest

from qa_engine.units import conversion
from qa_engine.water import (
    anion_load_eq_l,
    free_co2_mol_l,
    ion_eq_l,
    mixed_bed_capacity_eq_l,
    shared_capacity_eq_l,
    throughput_l,
)
from qa_engine.water.ions import CALCIUM, CARBON_DIOXIDE, CHLORIDE, MAGNESIUM, SODIUM, SULPHATE

# A worked water, mg/L: Ca 40, Mg 10, Na 20, Cl 35.45, SO4 33.09, SiO2 10, pH 7.5; bicarbonate
# 122 mg/L counted as 2.000 meq/L (61.0 g/eq), as the check values do.
ALKALINITY_EQ_L = 0.002


def worked_anion_load():
    strong = ion_eq_l(CHLORIDE, 35.45) + ion_eq_l(SULPHATE, 33.09)
    co2 = free_co2_mol_l(ALKALINITY_EQ_L, 7.5)
    return anion_load_eq_l(strong, ALKALINITY_EQ_L, co2, 10.0)


def test_cations_of_the_worked_water():
    """40/20.039 + 10/12.1525 + 20/22.99 = 1.9961 + 0.8229 + 0.8699 = 3.6889 meq/L."""
    cations = ion_eq_l(CALCIUM, 40) + ion_eq_l(MAGNESIUM, 10) + ion_eq_l(SODIUM, 20)
    assert 1000 * cations == pytest.approx(3.6889, rel=1e-4)


def test_q06_anion_load_of_the_worked_water():
    """2 + 1 + 0.6889 + 0.1422 (CO2) + 0.1664 (silica) = 3.9976 meq/L; computed independently."""
    assert 1000 * worked_anion_load() == pytest.approx(3.9976, rel=1e-4)


def test_q07_a_cubic_foot_at_0_55_eq_per_litre_by_both_routes():
    """0.55 x 28.3168 / 0.0039976 = 3895.9 L; in grains 12 027.8 / 11.6867 = 1029.2 US gal."""
    cubic_foot_l = conversion("ft3", "L").factor
    litres = throughput_l(0.55, cubic_foot_l, worked_anion_load())
    kilograins = 0.55 * conversion("eq/L", "kgr/ft3 as CaCO3").factor
    grains_per_gallon = worked_anion_load() * conversion("eq/L", "gr/gal as CaCO3").factor
    gallons = 1000 * kilograins / grains_per_gallon

    assert litres == pytest.approx(3895.9, rel=1e-4)
    assert gallons == pytest.approx(1029.2, rel=1e-4)
    assert gallons * conversion("gal", "L").factor == pytest.approx(float(litres), rel=1e-6)


def test_q08_the_anion_side_limits_a_bed_of_two_parts_to_three():
    """Ratio: DOE-HDBK-1015/2-93, Module 4. min(0.4 x 1.9, 0.6 x 1.1) = min(0.76, 0.66)."""
    capacity = mixed_bed_capacity_eq_l(0.4, 1.9, 1.1)
    assert capacity == pytest.approx(0.66, rel=1e-12)
    assert mixed_bed_capacity_eq_l(0.4, 1.0, 1.1) == pytest.approx(0.40, rel=1e-12)
    kilograins = capacity * conversion("eq/L", "kgr/ft3 as CaCO3").factor
    assert kilograins == pytest.approx(14.43, abs=0.005)


def test_q09_free_carbon_dioxide_at_ph_7_5():
    """2.0 x 10^(6.352 - 7.5) = 2.0 x 0.07112 = 0.14224 mmol/L, 6.260 mg/L."""
    co2_mmol_l = 1000 * free_co2_mol_l(0.002, 7.5)
    assert co2_mmol_l == pytest.approx(0.14224, rel=1e-3)
    assert co2_mmol_l * CARBON_DIOXIDE.g_per_mol == pytest.approx(6.260, rel=1e-3)


def test_free_carbon_dioxide_agrees_with_an_independent_program(phreeqc):
    """A water of 2 meq/L alkalinity; ion pairs and activity move it by less than 10 %."""
    water = phreeqc.add_solution(
        {"units": "mmol/l", "pH": 7.5, "temp": 25, "Ca": 1, "Alkalinity": 2}
    )
    assert free_co2_mol_l(0.002, 7.5) == pytest.approx(water.species["CO2"], rel=0.10)
    water.forget()


def test_q01_calcium_held_beside_sodium():
    """Source: M. L. Davis, Water and Wastewater Engineering (2010), Example 8-1, p. 8-9: 1008.

    2000 x 1.4 / (1.4 + 0.53 x 2.6) = 2800 / 2.778 = 1007.92 meq/L.
    """
    held_meq_l = 1000 * shared_capacity_eq_l(2.0, 0.0014, 0.0026, 1 / 0.53)
    assert held_meq_l == pytest.approx(1007.92, rel=1e-5)
    assert round(float(held_meq_l)) == 1008
    # With the separation factor of 1.9 unrounded: 2800 / (1.4 + 2.6/1.9) = 1011.41.
    assert 1000 * shared_capacity_eq_l(2.0, 1.4, 2.6, 1.9) == pytest.approx(1011.41, rel=1e-5)
