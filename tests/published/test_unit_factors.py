"""Unit factors of the water trade, against exact definitions and printed values."""

import pytest

from qa_engine.units import CACO3_G_PER_EQ, conversion
from qa_engine.water import as_caco3_mg_l, ion_eq_l
from qa_engine.water.ions import (
    BICARBONATE,
    CALCIUM,
    CARBON_DIOXIDE,
    CHLORIDE,
    MAGNESIUM,
    NITRATE,
    POTASSIUM,
    SODIUM,
    SULPHATE,
)
from qa_engine.water.salts import SODIUM_CHLORIDE


@pytest.mark.parametrize(
    ("written", "wanted", "factor", "rel"),
    [
        # Exact: the grain is 64.79891 mg, the US gallon 3.785411784 L.
        pytest.param("gr/gal as CaCO3", "mg/L as CaCO3", 17.11806104527, 1e-12, id="U01"),
        # Exact: a thousand grains in 28.316846592 L.
        pytest.param("kgr/ft3 as CaCO3", "mg/L as CaCO3", 2288.351910566, 1e-11, id="U02"),
        # Exact, and 100.0869 g/mol of calcium carbonate.
        pytest.param("eq/L", "kgr/ft3 as CaCO3", 21.868774, 1e-7, id="U03"),
        # Exact: gal/min in L/h over a cubic foot in L; the same over a square foot in m2.
        pytest.param("gpm/ft3", "BV/h", 8.020833333, 1e-9, id="U05"),
        pytest.param("gpm/ft2", "m/h", 2.44475, 1e-6, id="U06"),
    ],
)
def test_factor_agrees_with_the_exact_definitions(written, wanted, factor, rel):
    found = conversion(written, wanted)
    assert found.factor == pytest.approx(factor, rel=rel, abs=0)
    assert found.shift == 0


def test_u04_the_rounded_equivalent_of_50_g_gives_the_printed_21_85():
    """Source: units page of dardel.info/IX, which takes 50.0 g/eq and prints 21.85."""
    with_rounded_equivalent = conversion("eq/L", "kgr/ft3 as CaCO3").factor * 50.0 / CACO3_G_PER_EQ
    assert with_rounded_equivalent == pytest.approx(21.849786, rel=1e-7, abs=0)
    assert round(with_rounded_equivalent, 2) == 21.85


def test_a_milliequivalent_is_50_mg_and_2_921_grains_to_the_printed_digits():
    """Source: the same page, 1 meq/L = 50 mg/L as CaCO3 = 2.921 gr/gal, good to its 0.087 %."""
    assert conversion("meq/L", "mg/L as CaCO3").factor == pytest.approx(50, rel=1e-3)
    assert conversion("meq/L", "gr/gal as CaCO3").factor == pytest.approx(2.921, rel=1e-3)


def test_u07_a_german_degree_is_17_848_mg_of_calcium_carbonate():
    """By definition 10 mg/L of CaO, of 56.077 g/mol and two equivalents."""
    german_degree_eq_l = 10 / (56.077 / 2) / 1000
    assert as_caco3_mg_l(german_degree_eq_l) == pytest.approx(17.848, abs=0.002)


def test_u08_50_mg_of_sodium_chloride_as_calcium_carbonate():
    """Source: M. Frankel, Facility Piping Systems Handbook, Table 4.3 prints 42.5; exact 42.814."""
    as_caco3 = as_caco3_mg_l(50 / SODIUM_CHLORIDE.g_per_eq / 1000)
    assert as_caco3 == pytest.approx(42.814, rel=1e-4)
    assert as_caco3 == pytest.approx(42.5, rel=0.01)


@pytest.mark.parametrize(
    ("ion", "factor"),
    [
        (CALCIUM, 2.50),
        (MAGNESIUM, 4.12),
        (SODIUM, 2.18),
        (POTASSIUM, 1.28),
        (BICARBONATE, 0.82),
        (CHLORIDE, 1.41),
        (SULPHATE, 1.04),
        (NITRATE, 0.81),
    ],
    ids=lambda one: getattr(one, "name", None),
)
def test_ion_as_calcium_carbonate_by_the_usual_factor(ion, factor):
    """Computed from molar masses: 50.04345 times charge over molar mass, to two decimals."""
    assert as_caco3_mg_l(ion_eq_l(ion, 1.0)) == pytest.approx(factor, abs=0.0051)


def test_carbon_dioxide_counts_once_for_an_anion_bed():
    """50.04345 / 44.009 = 1.137; tables that count it twice print 2.27."""
    assert as_caco3_mg_l(ion_eq_l(CARBON_DIOXIDE, 1.0)) == pytest.approx(1.137, abs=0.0005)
