"""Conductivity of salt solutions at 25 degC: printed ladder, computed values, another program."""

import numpy as np
import pytest

from qa_engine.water import (
    CALCIUM_BICARBONATE,
    Salt,
    caco3_eq_l,
    salt_conductivity,
    sodium_chloride_conductivity,
)
from qa_engine.water.ions import CHLORIDE, MAGNESIUM, NITRATE, POTASSIUM, SODIUM, SULPHATE

# mg/L of sodium chloride -> uS/cm. M. Frankel, Facility Piping Systems Handbook, Table 4.3, p. 4.9.
FRANKEL = {
    0.05: 0.16,
    0.1: 0.27,
    0.2: 0.49,
    0.5: 1.13,
    1: 2.21,
    1.5: 3.28,
    2: 4.35,
    5: 10.8,
    10: 21.4,
    15: 32.1,
    20: 42.7,
    50: 105,
    100: 210,
    150: 315,
    200: 415,
    500: 1020,
    1000: 1990,
}


@pytest.mark.parametrize(
    ("mg_l", "us_cm", "tolerance"),
    [
        pytest.param(1, 2.21, {"rel": 0.005}, id="C10"),
        pytest.param(5, 10.8, {"rel": 0.005}, id="C11"),
        pytest.param(10, 21.4, {"rel": 0.005}, id="C12"),
        pytest.param(20, 42.7, {"rel": 0.005}, id="C13"),
        pytest.param(30, 63.8, {"rel": 0.005}, id="C14"),
        pytest.param(50, 105.5, {"rel": 0.01}, id="C15"),
        pytest.param(100, 210, {"rel": 0.005}, id="C16"),
        pytest.param(500, 1015, {"rel": 0.01}, id="C17"),
        pytest.param(0.1, 0.27, {"abs": 0.005}, id="C18"),
    ],
)
def test_sodium_chloride_conducts_as_frankel_prints_and_three_programs_compute(
    mg_l, us_cm, tolerance
):
    """Source: Frankel, Table 4.3, and Onsager's law, phreeqc and another program beside it."""
    assert sodium_chloride_conductivity(mg_l) == pytest.approx(us_cm, **tolerance)


def test_sodium_chloride_agrees_with_every_printed_row_within_2_percent():
    computed = sodium_chloride_conductivity(list(FRANKEL))
    np.testing.assert_allclose(computed, list(FRANKEL.values()), rtol=0.02)


@pytest.mark.parametrize(
    ("mg_l", "rel"), [(0.1, 0.005), (1, 0.005), (10, 0.005), (30, 0.005), (100, 0.005), (500, 0.01)]
)
def test_sodium_chloride_agrees_with_an_independent_program(phreeqc, mg_l, rel):
    solution = phreeqc.add_solution_simple({"NaCl": mg_l / 58.443}, temperature=25)
    assert sodium_chloride_conductivity(mg_l) == pytest.approx(solution.sc, rel=rel)
    solution.forget()


@pytest.mark.parametrize(
    ("mg_l_as_caco3", "us_cm"),
    [pytest.param(100, 191, id="C19"), pytest.param(20, 40.0, id="C20")],
)
def test_calcium_bicarbonate_conducts_as_two_programs_compute(mg_l_as_caco3, us_cm):
    """Computed at pH 7.5: 191.6 and 189.6 at 100 mg/L, 40.22 and 39.67 at 20 mg/L."""
    computed = salt_conductivity(CALCIUM_BICARBONATE, caco3_eq_l(mg_l_as_caco3))
    assert computed == pytest.approx(us_cm, rel=0.02)


@pytest.mark.parametrize("mg_l_as_caco3", [1, 5, 10, 20, 30, 50, 100, 200, 300])
def test_calcium_bicarbonate_agrees_with_an_independent_program(phreeqc, mg_l_as_caco3):
    calcium = mg_l_as_caco3 / 100.0869
    solution = phreeqc.add_solution(
        {"units": "mmol/l", "pH": 7.5, "temp": 25, "Ca": calcium, "Alkalinity": 2 * calcium}
    )
    computed = salt_conductivity(CALCIUM_BICARBONATE, caco3_eq_l(mg_l_as_caco3))
    assert computed == pytest.approx(solution.sc, rel=0.02)
    solution.forget()


@pytest.mark.parametrize(
    ("cation", "anion", "solution"),
    [
        (MAGNESIUM, CHLORIDE, {"Mg": 0.1, "Cl": 0.2}),
        (SODIUM, SULPHATE, {"Na": 0.2, "S(6)": 0.1}),
        (SODIUM, NITRATE, {"Na": 0.2, "N(5)": 0.2}),
        (POTASSIUM, CHLORIDE, {"K": 0.2, "Cl": 0.2}),
    ],
    ids=["MgCl2", "Na2SO4", "NaNO3", "KCl"],
)
def test_other_ions_agree_with_an_independent_program(phreeqc, cation, anion, solution):
    """0.2 meq/L of each salt, where neighbours hardly matter."""
    found = phreeqc.add_solution({"units": "mmol/l", "pH": 7, "temp": 25, **solution})
    assert salt_conductivity(Salt(cation, anion), 0.0002) == pytest.approx(found.sc, rel=0.02)
    found.forget()


def test_c05_potassium_chloride_of_0_01_mol_per_litre():
    """Source: US EPA Method 120.1 (1982), sec. 7: 1413; the limiting law is 0.7 % low there."""
    conductivity = salt_conductivity(Salt(POTASSIUM, CHLORIDE), 0.01)
    assert conductivity == pytest.approx(1413, rel=0.01)


def test_c21_factor_of_hard_water_when_solids_are_the_dry_residue():
    """100 mg/L of CaCO3 left on drying over 191.6 uS/cm = 0.522 mg/L per uS/cm; computed."""
    conductivity = salt_conductivity(CALCIUM_BICARBONATE, caco3_eq_l(100))
    assert 100 / conductivity == pytest.approx(0.522, abs=0.012)


def test_c22_factor_of_the_same_water_when_solids_are_the_sum_of_ions():
    """161.97 mg/L over 191.6 uS/cm = 0.845: what TDS means moves it by 1.6 times."""
    concentration = caco3_eq_l(100)
    solids_mg_l = 1000 * concentration * CALCIUM_BICARBONATE.g_per_eq
    assert solids_mg_l == pytest.approx(161.97, abs=0.02)
    conductivity = salt_conductivity(CALCIUM_BICARBONATE, concentration)
    assert solids_mg_l / conductivity == pytest.approx(0.845, abs=0.02)


def test_factor_of_sodium_chloride_rises_from_0_463_to_0_490():
    """Source: Frankel, Table 4.3: 5/10.8 and 500/1020."""
    factors = np.array([5, 500]) / sodium_chloride_conductivity([5, 500])
    np.testing.assert_allclose(factors, [0.463, 0.490], rtol=0.01)
