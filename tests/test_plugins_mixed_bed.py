"""The standard mixed bed: its grade, its load, its outlet, and the trade's numbers."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qa_engine.depletion import ResinModel, Water
from qa_engine.errors import ModelInputError
from qa_engine.plugins import mixed_bed
from qa_engine.units import conversion
from qa_engine.water import throughput_l

NAN = float("nan")


@pytest.fixture
def model():
    """Return the one model that the plugin offers."""
    (only,) = mixed_bed.qa_resin_models()
    return only


def water_of(tds=NAN, conductivity=NAN, factor=NAN, alkalinity=NAN, ph=NAN, silica=NAN):
    parts = (tds, conductivity, factor, NAN, alkalinity, ph, silica)
    return Water(*np.broadcast_arrays(*(np.asarray(part, dtype=float) for part in parts)))


def test_the_plugin_offers_a_model_of_the_standard_grade(model):
    assert isinstance(model, ResinModel)
    assert model.grade.name == "standard mixed bed"
    assert model.grade.bed == "mixed bed"
    assert model.grade.lowers_tds
    assert model.grade.outlet_after_change_mg_l == 1.0
    assert (model.grade.least_flow_bv_h, model.grade.greatest_flow_bv_h) == (8.0, 40.0)
    assert model.grade.flow_source == "common practice, no published source"


def test_capacity_is_four_fifths_of_what_the_anion_side_holds(model):
    """0.8 x min(0.4 x 1.9, 0.6 x 1.1) = 0.8 x 0.66 = 0.528, within its sd of 0.45 to 0.60."""
    capacity = model.grade.capacity
    assert capacity.mean_eq_l == pytest.approx(0.528, rel=1e-12)
    assert capacity.mean_eq_l - capacity.sd_eq_l < 0.45
    assert capacity.mean_eq_l + capacity.sd_eq_l > 0.60
    assert "no published source" in capacity.source


def test_tds_and_the_conductivity_behind_it_load_alike(model):
    """150 mg/L by a meter of 0.5 is 300 uS/cm, over 109.5 uS/cm per meq/L 2.74 meq/L."""
    by_tds = model.load_eq_l(water_of(tds=150.0, factor=0.5))
    by_conductivity = model.load_eq_l(water_of(conductivity=300.0))
    assert by_tds == by_conductivity == pytest.approx(0.00274, rel=0.01)


def test_conductivity_counts_where_both_are_known(model):
    both = model.load_eq_l(water_of(tds=150.0, conductivity=400.0, factor=0.5))
    assert both == model.load_eq_l(water_of(conductivity=400.0))


@pytest.mark.parametrize("factor", [NAN, 0.0])
def test_an_unknown_factor_is_taken_as_that_of_a_salt_scale(model, factor):
    assert model.load_eq_l(water_of(tds=150.0, factor=factor)) == model.load_eq_l(
        water_of(tds=150.0, factor=0.5)
    )


def test_an_analysis_raises_the_load(model):
    """Silica of 6.0083 mg/L is 0.1 meq/L, which no meter shows."""
    plain = model.load_eq_l(water_of(conductivity=300.0))
    with_silica = model.load_eq_l(water_of(conductivity=300.0, silica=6.0083))
    assert with_silica - plain == pytest.approx(0.0001, rel=1e-9)
    alkaline = model.load_eq_l(water_of(conductivity=300.0, alkalinity=100.0, ph=9.0))
    acid = model.load_eq_l(water_of(conductivity=300.0, alkalinity=100.0, ph=6.5))
    # 1.998 meq/L x 10^(6.352 - 6.5) = 1.42 meq/L of carbon dioxide, and hardly any at pH 9.
    assert acid - alkaline == pytest.approx(0.00142, rel=0.01)


@settings(deadline=None, max_examples=100)
@given(
    tds=st.one_of(st.just(NAN), st.floats(0, 50_000)),
    conductivity=st.one_of(st.just(NAN), st.floats(0, 100_000)),
    factor=st.one_of(st.just(NAN), st.floats(0.01, 2)),
    alkalinity=st.one_of(st.just(NAN), st.floats(0, 5_000)),
    ph=st.one_of(st.just(NAN), st.floats(0, 14)),
)
def test_load_is_unknown_only_where_neither_tds_nor_conductivity_is_known(
    tds, conductivity, factor, alkalinity, ph
):
    (model,) = mixed_bed.qa_resin_models()
    load = model.load_eq_l(water_of(tds, conductivity, factor, alkalinity, ph))
    assert np.isnan(load) == (np.isnan(tds) and np.isnan(conductivity))
    assert np.isnan(load) or 0 < load < np.inf


def outlet(model, used, **water):
    used = np.asarray(used, dtype=float)
    asked = water_of(**{name: np.full(used.shape, part) for name, part in water.items()})
    return model.outlet_mg_l(used, asked, np.full(used.shape, NAN))


def test_a_fresh_bed_shows_zero_and_a_spent_one_its_inlet(model):
    """exp(-20) = 2.0612e-9 up to T = 1/20, no digit of any meter; from T = 21/20 on all passes."""
    fresh, toe, spent, long_spent = outlet(model, [0.0, 0.05, 1.05, 3.0], tds=150.0)
    assert fresh == toe == pytest.approx(150.0 * 2.0612e-9, rel=1e-4)
    assert spent == pytest.approx(150.0, rel=1e-12)
    assert long_spent == 150.0


def test_outlet_along_the_breakthrough(model):
    """N = 20: exp(20 x (0.9 - 1) - 1) = exp(-3) = 0.049787; at 1 exp(-1); at 1.02 exp(-0.6).

    Fractions: 0.049787, 0.367879, 0.548812, as an upwind scheme reproduces them.
    """
    np.testing.assert_allclose(
        outlet(model, [0.9, 1.0, 1.02], tds=100.0), [4.9787, 36.7879, 54.8812], atol=1e-4
    )
    # Back from a leak: T = 1 + (1 + ln X)/N = 0.900213 for X = 0.05.
    assert outlet(model, 0.900213, tds=100.0) == pytest.approx(5.0, abs=1e-4)


def test_outlet_where_only_conductivity_was_read(model):
    """200 uS/cm on a meter of 0.7 would show 140 mg/L; with no factor 100."""
    assert outlet(model, 2.0, conductivity=200.0, factor=0.7) == pytest.approx(140.0)
    assert outlet(model, 2.0, conductivity=200.0) == pytest.approx(100.0)


def test_outlet_is_unknown_where_the_use_or_the_inlet_is(model):
    assert np.isnan(outlet(model, NAN, tds=100.0))
    assert np.isnan(outlet(model, 0.5))


def test_a_bed_cannot_be_used_less_than_not_at_all(model):
    with pytest.raises(ModelInputError, match=r"used_fraction is -0\.1"):
        outlet(model, -0.1, tds=100.0)


@settings(deadline=None, max_examples=50)
@given(used=st.lists(st.floats(0, 2), min_size=2, max_size=2), tds=st.floats(0, 1000))
def test_outlet_never_falls_with_use_and_never_passes_the_inlet(used, tds):
    (model,) = mixed_bed.qa_resin_models()
    earlier, later = outlet(model, sorted(used), tds=tds)
    assert 0 <= earlier <= later <= tds


# Common practice, no published source: half a cubic foot, used for rinsing only, does about 90
# cars or about 15 large motorhomes.
TRADE_CARS, TRADE_MOTORHOMES = 90, 15
CAR_L, MOTORHOME_L = 38.0, 227.0  # 10 and 60 US gal


@pytest.mark.parametrize(
    ("inlet_tds", "cars"),
    [
        (100, 108),  # 200 uS/cm, 1.827 meq/L, 4093 L
        (150, 72),  # 300 uS/cm, 2.740 meq/L, 2728 L
        (200, 54),  # 400 uS/cm, 3.654 meq/L, 2046 L
    ],
)
def test_ordinary_water_gives_the_order_of_the_trades_numbers(model, inlet_tds, cars):
    """Half a cubic foot, 14.158 L x 0.528 eq/L = 7.476 eq, over the load of a litre."""
    half_cubic_foot_l = 0.5 * conversion("ft3", "L").factor
    load = model.load_eq_l(water_of(tds=inlet_tds, factor=0.5))
    litres = throughput_l(model.grade.capacity.mean_eq_l, half_cubic_foot_l, load)

    assert litres / CAR_L == pytest.approx(cars, abs=0.6)
    assert TRADE_CARS / 2 < litres / CAR_L < TRADE_CARS * 2
    assert TRADE_MOTORHOMES / 2 < litres / MOTORHOME_L < TRADE_MOTORHOMES * 2
