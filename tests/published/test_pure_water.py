"""Pure water: its own conductivity, its slope, and what air and reciprocals make of it."""

import pytest

from qa_engine.water import (
    LEAST_FOR_TDS_US_CM,
    PURE_WATER_US_CM,
    conductivity_at_25,
    resistivity_mohm_cm,
    sodium_chloride_conductivity,
)


@pytest.fixture(scope="module")
def pure(phreeqc):
    """Return the conductivity of pure water at a temperature, by phreeqc [uS/cm]."""

    def conductivity(temperature):
        return phreeqc.add_solution({"temp": temperature, "pH": "7 charge"}).sc

    return conductivity


def test_c09_conductivity_and_resistivity_at_25_degrees(pure):
    """DOE-HDBK-1015/2-93 prints 0.054, Frankel Table 4.3 0.055 and 18.3 Mohm cm."""
    assert pytest.approx(0.0550, abs=0.0006) == PURE_WATER_US_CM
    assert resistivity_mohm_cm(PURE_WATER_US_CM) == pytest.approx(18.2, abs=0.2)
    assert pure(25) == pytest.approx(PURE_WATER_US_CM, abs=0.0006)
    assert sodium_chloride_conductivity(0.0) == PURE_WATER_US_CM


@pytest.mark.parametrize(("temperature", "us_cm"), [(20, 0.0403), (30, 0.0741)])
def test_c23_slope_of_pure_water(pure, temperature, us_cm):
    """The usual 2 % misses it by more than 15 %, so it must not be used on such water."""
    assert pure(temperature) == pytest.approx(us_cm, rel=0.02)
    compensated = conductivity_at_25(us_cm, temperature)
    assert abs(compensated / PURE_WATER_US_CM - 1) > 0.15


def test_c24_pure_water_open_to_the_air(phreeqc):
    """400 ppm of CO2 give 0.97; the CRC table of KCl solutions prints 1.10 for such water."""
    open_water = {"temp": 25, "pH": "7 charge", "C(4)": "1 CO2(g) -3.398"}
    assert phreeqc.add_solution(open_water).sc == pytest.approx(0.97, abs=0.02)
    assert pytest.approx(0.97, abs=0.15) == LEAST_FOR_TDS_US_CM
    assert pytest.approx(1.10, abs=0.15) == LEAST_FOR_TDS_US_CM


@pytest.mark.parametrize(
    ("us_cm", "mohm_cm", "printed"),
    [
        pytest.param(0.056, 17.857, 18, id="G05"),
        pytest.param(1.0, 1.0, 1.0, id="type II"),
        pytest.param(0.25, 4.0, 4.0, id="type III"),
        pytest.param(5.0, 0.2, 0.2, id="type IV"),
    ],
)
def test_resistivity_is_the_reciprocal_that_astm_prints(us_cm, mohm_cm, printed):
    """Source: ASTM D1193-99e1, table of reagent water types."""
    found = resistivity_mohm_cm(us_cm)
    assert found == pytest.approx(mohm_cm, abs=0.0005)
    assert found == pytest.approx(printed, rel=0.01)
