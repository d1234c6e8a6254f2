"""Equivalents from an analysis, and the load that a water puts on a bed."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qa_engine.errors import ModelInputError
from qa_engine.water import (
    TAP_WATER_CONDUCTANCE,
    anion_load_eq_l,
    as_caco3_mg_l,
    caco3_eq_l,
    free_co2_mol_l,
    ion_eq_l,
    load_eq_l,
)
from qa_engine.water.ions import CALCIUM, SILICA
from qa_engine.water.load import HARD_WATER_CONDUCTANCE, SALT_WATER_CONDUCTANCE

PERCENT = 0.01


def test_an_ion_counts_by_its_charge():
    """40.078 mg/L of calcium is a millimole, two milliequivalents."""
    np.testing.assert_allclose(ion_eq_l(CALCIUM, [0.0, 40.078]), [0.0, 0.002], rtol=1e-12)


def test_silica_counts_once_a_mole():
    assert ion_eq_l(SILICA, 60.083) == pytest.approx(0.001, rel=1e-12)


def test_hardness_and_back():
    """100.0869 mg/L of calcium carbonate is a millimole, two milliequivalents."""
    assert caco3_eq_l(100.0869) == pytest.approx(0.002, rel=1e-12)
    assert as_caco3_mg_l(0.002) == pytest.approx(100.0869, rel=1e-12)


def test_carbon_dioxide_equals_bicarbonate_where_ph_is_the_constant():
    assert free_co2_mol_l(0.002, 6.352) == pytest.approx(0.002, rel=1e-12)


def test_an_analysis_that_contradicts_itself_gives_no_carbon_dioxide():
    """0.002 x 10^(6.352 - 4.6) = 0.113 mol/L, and water holds 0.034; at pH 4.4 no alkalinity is."""
    found = free_co2_mol_l([0.002, 0.00001, 0.002, np.nan], [4.6, 4.4, np.nan, 7.0])
    np.testing.assert_array_equal(found, [np.nan] * 4)
    # 0.00001 x 10^(6.352 - 4.5) = 0.000711: at the end of the titration it still counts.
    assert free_co2_mol_l(0.00001, 4.5) == pytest.approx(0.000711, rel=1e-3)


@pytest.mark.parametrize("ph", [-0.1, 14.1])
def test_a_ph_off_the_scale_is_refused(ph):
    with pytest.raises(ModelInputError, match=r"ph is .*from 0 to 14"):
        free_co2_mol_l(0.002, ph)


def test_everything_an_anion_resin_takes_up_is_summed():
    """1 + 2 + 0.5 + 6.0083/60.083 = 3.6 meq/L."""
    found = anion_load_eq_l(0.001, 0.002, 0.0005, 6.0083)
    assert found == pytest.approx(0.0036, rel=1e-12)


@pytest.mark.parametrize("place", range(4))
def test_no_part_of_a_load_is_negative(place):
    parts = [0.001, 0.002, 0.0005, 6.0]
    parts[place] = -parts[place]
    with pytest.raises(ModelInputError, match="expected a finite number of at least 0"):
        anion_load_eq_l(*parts)


def test_equivalent_conductances_are_those_of_the_ladders_at_100_mg_per_litre():
    """191.6 uS/cm over 1.998 meq/L = 95.9 (phreeqc); 210 over 100/58.44 = 1.711 gives 122.7."""
    assert pytest.approx(95.9, rel=PERCENT) == HARD_WATER_CONDUCTANCE
    assert pytest.approx(122.7, rel=PERCENT) == SALT_WATER_CONDUCTANCE
    assert pytest.approx(109.3, rel=PERCENT) == TAP_WATER_CONDUCTANCE


def test_load_from_conductivity_alone():
    """400 uS/cm over 109.3 uS/cm per meq/L = 3.66 meq/L; unknown stays unknown."""
    np.testing.assert_allclose(load_eq_l([400.0, np.nan]), [0.00366, np.nan], rtol=PERCENT)


def test_an_alkalinity_shifts_the_load_towards_hard_water():
    """100.0869 mg/L: 2 meq/L take 2 x 96.55 = 193.1 of 400 uS/cm; 206.9/122.4 = 1.690; 3.690."""
    found = load_eq_l(400.0, alkalinity_mg_l=100.0869)
    assert found == pytest.approx(0.003690, abs=5e-7)


def test_carbon_dioxide_and_silica_are_added():
    """3.690 + 0.1422 at pH 7.5 + 10/60.083 = 0.1664: 3.999 meq/L."""
    found = load_eq_l(400.0, alkalinity_mg_l=100.0869, ph=7.5, silica_mg_l=10.0)
    assert found == pytest.approx(0.003999, abs=1e-6)


def test_the_worked_water_is_met_within_five_percent_by_its_conductivity():
    """Ca 40, Mg 10, Na 20, Cl 35.45, SO4 33.09: 379 uS/cm by phreeqc, load 3.998 meq/L.

    From conductivity alone it comes out lower, by what carbon dioxide and silica are and more.
    """
    analysed = load_eq_l(379.1, alkalinity_mg_l=100.0869, ph=7.5, silica_mg_l=10.0)
    assert analysed == pytest.approx(0.003998, rel=5 * PERCENT)
    alone = load_eq_l(379.1)
    assert 0.80 < alone / 0.003998 < 0.90


def test_an_alkalinity_that_the_conductivity_does_not_bear_out_counts_only_so_far():
    """50 uS/cm carry 50/96.55 = 0.518 meq/L of bicarbonate at most, not the 2 of the analysis."""
    assert load_eq_l(50.0, alkalinity_mg_l=100.0869) == pytest.approx(0.000518, abs=5e-7)
    # Rounding must not leave a negative rest anywhere.
    conductivity = np.linspace(1.0, 100.0, 1000)
    found = load_eq_l(conductivity, alkalinity_mg_l=5000.0)
    np.testing.assert_allclose(found, conductivity / HARD_WATER_CONDUCTANCE / 1000, rtol=1e-12)


def test_a_reading_of_zero_is_not_a_load_of_zero():
    """Counts as 1 uS/cm: 1/109.5 = 0.00913 meq/L."""
    np.testing.assert_allclose(load_eq_l([0.0, 0.5, 1.0]), 9.13e-6, rtol=PERCENT)


def test_what_is_unknown_of_an_analysis_adds_nothing():
    plain = load_eq_l(400.0)
    assert load_eq_l(400.0, ph=7.0) == plain
    assert load_eq_l(400.0, alkalinity_mg_l=np.nan, ph=np.nan, silica_mg_l=np.nan) == plain


KNOWN_OR_NOT = st.one_of(st.just(float("nan")), st.floats(0.0, 500.0))


@settings(deadline=None, max_examples=200)
@given(
    conductivity=st.floats(0.0, 1e5),
    alkalinity=KNOWN_OR_NOT,
    ph=st.one_of(st.just(float("nan")), st.floats(0.0, 14.0)),
    silica=KNOWN_OR_NOT,
)
def test_a_load_is_positive_whatever_is_known(conductivity, alkalinity, ph, silica):
    found = load_eq_l(conductivity, alkalinity_mg_l=alkalinity, ph=ph, silica_mg_l=silica)
    salts = load_eq_l(conductivity, alkalinity_mg_l=alkalinity)
    assert 0 < salts <= found < np.inf
    # Between the pure salts: conductivity over 122.4 and over 96.6 uS/cm per meq/L.
    shown = max(conductivity, 1.0) / 1000
    assert shown / 122.5 <= salts <= shown / 96.5


def test_columns_are_answered_as_their_rows_are():
    conductivity = np.array([100.0, 400.0, np.nan, 0.0])
    alkalinity = np.array([np.nan, 120.0, 80.0, 60.0])
    ph = np.array([7.0, 7.5, np.nan, 8.0])
    silica = np.array([5.0, np.nan, 10.0, 0.0])
    together = load_eq_l(conductivity, alkalinity_mg_l=alkalinity, ph=ph, silica_mg_l=silica)
    singly = [
        load_eq_l(c, alkalinity_mg_l=a, ph=p, silica_mg_l=s)
        for c, a, p, s in zip(conductivity, alkalinity, ph, silica, strict=True)
    ]
    np.testing.assert_array_equal(together, singly)
