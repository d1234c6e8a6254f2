"""Conductivity, TDS and resistivity: limits, shapes and what is refused."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qa_engine.errors import ModelInputError
from qa_engine.water import (
    CALCIUM_BICARBONATE,
    SODIUM_CHLORIDE,
    conductivity_at_25,
    conductivity_of_tds,
    equivalent_conductance,
    resistivity_mohm_cm,
    salt_conductivity,
    sodium_chloride_conductivity,
    tds_of_conductivity,
)


def test_at_25_degrees_nothing_is_compensated():
    np.testing.assert_array_equal(conductivity_at_25([0.0, 250.0], 25.0), [0.0, 250.0])


def test_each_reading_has_its_own_temperature_and_coefficient():
    """90 / (1 - 0.02 x 5) = 100; 110 / (1 + 0.01 x 10) = 100; an unknown temperature stays so."""
    found = conductivity_at_25([90.0, 110.0, 90.0], [20.0, 35.0, np.nan], [0.02, 0.01, 0.02])
    np.testing.assert_allclose(found, [100.0, 100.0, np.nan])


@pytest.mark.parametrize("temperature", [-0.1, 50.1, -25.0, np.inf])
def test_temperatures_that_the_line_does_not_serve_are_refused(temperature):
    with pytest.raises(ModelInputError) as refused:
        conductivity_at_25([100.0, 100.0], [20.0, temperature])
    assert f"temperature_degc is {temperature}; expected a finite number from 0 to 50" in str(
        refused.value
    )


@pytest.mark.parametrize("temperature", [0.0, 50.0])
def test_the_ends_of_the_range_are_in_it(temperature):
    """100 / (1 +- 0.5)."""
    expected = 100.0 / (1.0 + 0.02 * (temperature - 25.0))
    assert conductivity_at_25(100.0, temperature) == pytest.approx(expected)


def test_tds_is_conductivity_times_the_factor_of_the_meter():
    """300 x 0.5 = 150; 300 x 0.7 = 210."""
    np.testing.assert_allclose(tds_of_conductivity(300.0, [0.5, 0.7]), [150.0, 210.0])


def test_conductivity_below_1_is_not_made_tds():
    """Exactly at 1 uS/cm it still is: 1 x 0.5."""
    found = tds_of_conductivity([0.0, 0.999, 1.0, np.nan], 0.5)
    np.testing.assert_array_equal(found, [np.nan, np.nan, 0.5, np.nan])


@settings(deadline=None, max_examples=50)
@given(conductivity=st.floats(1.0, 1e5), factor=st.floats(0.4, 1.0))
def test_tds_leads_back_to_conductivity(conductivity, factor):
    tds = tds_of_conductivity(conductivity, factor)
    assert conductivity_of_tds(tds, factor) == pytest.approx(conductivity, rel=1e-12)


@pytest.mark.parametrize("factor", [0.0, -0.5])
def test_a_factor_that_is_not_positive_is_refused(factor):
    with pytest.raises(ModelInputError, match=r"factor is -?0\.[05]; expected"):
        tds_of_conductivity(300.0, factor)
    with pytest.raises(ModelInputError, match=r"factor is -?0\.[05]; expected"):
        conductivity_of_tds(150.0, factor)


def test_an_infinite_reading_is_no_reading():
    with pytest.raises(ModelInputError, match="tds_mg_l is inf; expected a finite number"):
        conductivity_of_tds([5.0, np.inf], 0.5)


def test_negative_readings_are_refused():
    with pytest.raises(ModelInputError, match=r"tds_mg_l is -1\.0"):
        conductivity_of_tds([5.0, -1.0], 0.5)
    with pytest.raises(ModelInputError, match=r"conductivity_us_cm is -0\.5"):
        tds_of_conductivity(-0.5, 0.5)
    with pytest.raises(ModelInputError, match=r"measured_us_cm is -2\.0"):
        conductivity_at_25(-2.0, 20.0)


def test_even_pure_water_conducts():
    with pytest.raises(ModelInputError, match="expected a number above 0"):
        resistivity_mohm_cm([1.0, 0.0])


def test_limiting_conductances_are_the_sums_of_the_ions():
    """Na 50.08 + Cl 76.31 = 126.39; Ca 59.47 + HCO3 44.5 = 103.97 S cm2/eq."""
    assert equivalent_conductance(SODIUM_CHLORIDE, 0.0) == pytest.approx(126.39, abs=1e-9)
    assert equivalent_conductance(CALCIUM_BICARBONATE, 0.0) == pytest.approx(103.97, abs=1e-9)


def test_for_single_charges_the_law_is_the_familiar_one():
    """At 0.01 mol/L: 126.39 - (60.20 + 0.229 x 126.39) x 0.1 = 126.39 - 8.9143 = 117.4757."""
    found = equivalent_conductance(SODIUM_CHLORIDE, 0.01)
    assert found == pytest.approx(117.4757, abs=1e-4)
    # 117.4757 x 0.01 x 1000 = 1174.757, and 0.055 of the water.
    assert salt_conductivity(SODIUM_CHLORIDE, 0.01) == pytest.approx(1174.812, abs=1e-3)


def test_a_double_charge_slows_its_neighbours_more():
    """Ionic strength 1.5 x 0.002 = 0.003; q = 2 x 103.97/(3 x 148.47) = 0.46685, root 0.68327.

    1.5 x 60.20 + 2 x 1.70711 x 0.229 x 2 x 0.46685/1.68327 x 103.97 = 90.30 + 45.09 = 135.39;
    103.97 - 135.39 x 0.054772 = 96.554.
    """
    found = equivalent_conductance(CALCIUM_BICARBONATE, 0.002)
    assert found == pytest.approx(96.554, abs=0.005)


@pytest.mark.parametrize("eq_l", [-1e-6, 0.0201])
def test_solutions_beyond_the_law_are_refused(eq_l):
    with pytest.raises(ModelInputError, match=r"eq_l is .*from 0 to 0\.02"):
        salt_conductivity(SODIUM_CHLORIDE, [0.01, eq_l])


@settings(deadline=None, max_examples=50)
@given(low=st.floats(0.0, 1000.0), more=st.floats(0.001, 100.0))
def test_more_salt_conducts_more(low, more):
    less, greater = sodium_chloride_conductivity([low, low + more])
    assert less < greater
