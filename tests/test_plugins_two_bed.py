"""Cation bed, then anion bed: as one, and as two vessels one after the other."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qa_engine.depletion import ResinModel, Water
from qa_engine.plugins import two_bed

NAN = float("nan")
MODELS = {model.grade.name: model for model in two_bed.qa_resin_models()}
PAIR, CATION, ANION = MODELS.values()


def water_of(tds=NAN, conductivity=NAN, factor=NAN, alkalinity=NAN, ph=NAN, silica=NAN):
    parts = (tds, conductivity, factor, NAN, alkalinity, ph, silica)
    return Water(*np.broadcast_arrays(*(np.asarray(part, dtype=float) for part in parts)))


def outlet(model, used, **water):
    used = np.asarray(used, dtype=float)
    asked = water_of(**{name: np.full(used.shape, part) for name, part in water.items()})
    return model.outlet_mg_l(used, asked, np.full(used.shape, NAN))


def test_the_pair_and_its_vessels_are_grades_of_their_own():
    assert list(MODELS) == ["two-bed", "two-bed cation", "two-bed anion"]
    for model in MODELS.values():
        assert isinstance(model, ResinModel)
        assert model.grade.bed == "two-bed"
        assert "no published source" in model.grade.capacity.source


def test_only_the_cation_vessel_does_not_lower_tds():
    assert [model.grade.lowers_tds for model in MODELS.values()] == [True, False, True]


def test_capacities():
    """0.8 x min(0.4 x 1.9, 0.6 x 1.1) = 0.528; 0.65 x 1.9 = 1.235; 0.8 x 1.1 = 0.88 eq/L."""
    capacities = [model.grade.capacity.mean_eq_l for model in MODELS.values()]
    assert capacities == pytest.approx([0.528, 1.235, 0.88], rel=1e-12)


def test_a_fresh_pair_leaks_sodium_which_is_normal():
    """2 % of 300/109.4 = 2.743 meq/L, as caustic soda of 242.8: 13.3 uS/cm, 6.66 mg/L at 0.5."""
    fresh = outlet(PAIR, 0.0, tds=150.0)
    assert fresh == pytest.approx(6.66, abs=0.02)
    assert fresh < PAIR.grade.outlet_after_change_mg_l


def test_a_pair_ends_in_acid_and_then_in_its_inlet():
    """Chlorides at T = 0.9: 3.424 x exp(20 x -0.1 - 1) = 3.424 x 0.049787 = 0.1705."""
    near, at_end, spent = outlet(PAIR, [0.9, 1.0, 2.0], tds=100.0, alkalinity=0.0)
    assert near == pytest.approx(17.05, abs=0.02)
    assert at_end == spent == 100.0


def test_a_cation_vessel_counts_cations_and_neither_carbon_dioxide_nor_silica():
    salts = water_of(conductivity=300.0, alkalinity=100.0)
    analysed = water_of(conductivity=300.0, alkalinity=100.0, ph=6.5, silica=20.0)
    assert CATION.load_eq_l(analysed) == CATION.load_eq_l(salts)
    assert PAIR.load_eq_l(analysed) > PAIR.load_eq_l(salts) == CATION.load_eq_l(salts)


def test_what_a_cation_vessel_gives_reads_more_than_what_it_gets():
    assert outlet(CATION, [0.0, 0.5, 2.0], tds=100.0, alkalinity=0.0) == pytest.approx(
        [342.4] * 3, rel=1e-3
    )


def test_an_anion_vessel_takes_up_the_acid_that_the_cation_vessel_makes():
    """A water of 2 meq/L chloride and 2 meq/L bicarbonate: acid of 2 x 418.9 = 837.8 uS/cm.

    The bicarbonate has become carbonic acid, one equivalent per mole: 4 meq/L in all. Carbon
    dioxide that was there before, at pH 7.5 0.1422 mmol/L, and 10 mg/L of silica, 0.1664, go on
    top: 4.3086 meq/L.
    """
    acid = {"conductivity": 837.8, "alkalinity": 100.087}
    assert 1000 * ANION.load_eq_l(water_of(**acid)) == pytest.approx(4.0, rel=1e-3)
    with_weak = ANION.load_eq_l(water_of(**acid, ph=7.5, silica=10.0))
    assert 1000 * with_weak == pytest.approx(4.3086, rel=1e-3)
    # Not analysed, as much carbonic acid is taken as there is strong acid.
    assert 1000 * ANION.load_eq_l(water_of(conductivity=837.8)) == pytest.approx(4.0, rel=1e-3)


def test_an_anion_vessel_lets_caustic_soda_through_at_first_and_acid_at_the_end():
    """2 % of 4 meq/L at 242.8 is 19.4 uS/cm, 9.7 mg/L; at T = 0.9 0.049787 of 418.9 mg/L."""
    acid = {"conductivity": 837.8, "alkalinity": 100.087, "factor": 0.5}
    fresh, near, spent = outlet(ANION, [0.0, 0.9, 2.0], **acid)
    assert fresh == pytest.approx(9.71, abs=0.01)
    assert near == pytest.approx(20.86, abs=0.01)
    assert spent == pytest.approx(418.9)


@settings(deadline=None, max_examples=60)
@given(
    used=st.lists(st.floats(0, 3), min_size=2, max_size=2),
    tds=st.floats(0, 2000),
    alkalinity=st.one_of(st.just(NAN), st.floats(0, 2000)),
    ph=st.one_of(st.just(NAN), st.floats(0, 14)),
)
def test_every_bed_loads_with_any_water_and_never_reads_less_with_use(used, tds, alkalinity, ph):
    for model in MODELS.values():
        load = model.load_eq_l(water_of(tds=tds, alkalinity=alkalinity, ph=ph))
        assert 0 < load < np.inf
        earlier, later = outlet(model, sorted(used), tds=tds, alkalinity=alkalinity)
        assert 0 <= earlier <= later <= tds * (1 if model.grade.lowers_tds else 3.5)


@pytest.mark.parametrize("model", MODELS.values(), ids=MODELS)
def test_charges_readings_and_a_grid_are_one_call(model):
    used, water = np.ones((3, 5)), water_of(tds=np.full((2, 1, 1), 100.0))
    grid = model.outlet_mg_l(used, water, np.full((2, 3, 1), NAN), np.full((4, 1, 1, 1), 20.0))
    assert grid.shape == (4, 2, 3, 5)
