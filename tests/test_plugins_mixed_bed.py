"""Mixed beds: their grades, the load, the outlet, and the trade's numbers."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qa_engine.breakthrough import film_breakthrough
from qa_engine.depletion import ResinModel, Water
from qa_engine.errors import ModelInputError
from qa_engine.plugins import mixed_bed
from qa_engine.units import conversion
from qa_engine.water import throughput_l

NAN = float("nan")


MODELS = {model.grade.name: model for model in mixed_bed.qa_resin_models()}
STANDARD = MODELS["standard mixed bed"]


@pytest.fixture
def model():
    return STANDARD


@pytest.fixture(params=MODELS)
def any_model(request):
    """Return each model that the plugin offers."""
    return MODELS[request.param]


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


def test_the_plugin_offers_three_grades_and_says_where_they_hold(any_model):
    grade = any_model.grade
    assert list(MODELS) == [
        "standard mixed bed",
        "regenerated mixed bed",
        "colour-indicating mixed bed",
    ]
    assert grade.colour_indicating == (grade.name == "colour-indicating mixed bed")
    assert (grade.bed, grade.lowers_tds) == ("mixed bed", True)
    assert grade.validity.endswith(".")
    assert "no published source" in grade.capacity.source
    assert "no published source" in grade.sharpness.source
    assert (grade.ph_low, grade.ph_high, grade.greatest_temperature_deg_c) == (0.0, 14.0, 40.0)


def test_regenerated_resin_holds_three_quarters_and_is_less_sure():
    """0.528 x 0.75 = 0.396 eq/L; 0.12/0.396 = 30 % of scatter against 0.1/0.528 = 19 %."""
    new, old = STANDARD.grade, MODELS["regenerated mixed bed"].grade
    assert old.capacity.mean_eq_l == pytest.approx(0.396, rel=1e-12)
    assert old.capacity.sd_eq_l / old.capacity.mean_eq_l > new.capacity.sd_eq_l / 0.528
    assert old.sharpness.sd_log > new.sharpness.sd_log


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
    load = STANDARD.load_eq_l(water_of(tds, conductivity, factor, alkalinity, ph))
    assert np.isnan(load) == (np.isnan(tds) and np.isnan(conductivity))
    assert np.isnan(load) or 0 < load < np.inf


def outlet(model, used, flow=NAN, units=None, **water):
    used, flow = np.broadcast_arrays(np.asarray(used, dtype=float), flow)
    asked = water_of(**{name: np.full(used.shape, part) for name, part in water.items()})
    return model.outlet_mg_l(used, asked, flow, units)


# A water of chlorides only: what leaks reads 418.9/122.3 = 3.424 times the salt it came in as.
CHLORIDES = {"alkalinity": 0.0}
# A water of bicarbonate only: what leaks counts as the salt.
BICARBONATE = {"alkalinity": 5000.0}


def test_a_fresh_bed_shows_a_trace_and_a_spent_one_its_inlet(model):
    """0.5 uS/cm on a meter of 0.5 is 0.25 mg/L, which shows as 0; from T = 21/20 on all passes."""
    fresh, toe, spent, long_spent = outlet(model, [0.0, 0.05, 1.05, 3.0], tds=150.0)
    assert fresh == toe == 0.25
    assert spent == long_spent == 150.0


def test_outlet_along_the_breakthrough_of_a_water_of_bicarbonate(model):
    """N = 20: exp(20 x (0.9 - 1) - 1) = exp(-3) = 0.049787; at 1 exp(-1); at 1.02 exp(-0.6)."""
    np.testing.assert_allclose(
        outlet(model, [0.9, 1.0, 1.02], tds=100.0, **BICARBONATE),
        [4.9787, 36.7879, 54.8812],
        atol=1e-4,
    )


def test_acid_leakage_reads_threefold_but_never_above_the_inlet(model):
    """3.424 x exp(-3) = 0.17049; at T = 1 3.424 x exp(-1) is above 1."""
    np.testing.assert_allclose(
        outlet(model, [0.9, 1.0], tds=100.0, **CHLORIDES), [17.05, 100.0], atol=0.02
    )


def test_leakage_of_a_water_that_is_not_analysed_reads_about_twofold(model):
    """Half of the equivalents bicarbonate: 122.3/(122.3 + 96.4) of 3.424 = 1.915."""
    twofold = outlet(model, 0.9, tds=100.0) / outlet(model, 0.9, tds=100.0, **BICARBONATE)
    assert twofold == pytest.approx(1.915, abs=0.005)


def test_a_fast_flow_blunts_the_breakthrough_and_a_slow_one_sharpens_it(model):
    """N goes with the root: 20 at sqrt(8 x 40) = 17.89 BV/h, 20 sqrt(17.89/35.78) = 14.14."""
    usual = outlet(model, 0.8, 17.8885, tds=100.0, **BICARBONATE)
    assert usual == pytest.approx(100 * film_breakthrough(0.8, 20.0), rel=1e-4)
    fast = outlet(model, 0.8, 35.777, tds=100.0, **BICARBONATE)
    assert fast == pytest.approx(100 * film_breakthrough(0.8, 14.1421), rel=1e-4)
    assert outlet(model, 0.8, 10.0, tds=100.0, **BICARBONATE) < usual
    assert outlet(model, 0.8, tds=100.0, **BICARBONATE) == pytest.approx(usual, rel=1e-4)
    # Beyond the limits of the grade a flow counts as the limit.
    assert outlet(model, 0.8, 1e9, tds=100.0) == outlet(model, 0.8, 40.0, tds=100.0)
    assert outlet(model, 0.8, 0.0, tds=100.0) == outlet(model, 0.8, 8.0, tds=100.0)


def test_learnt_units_take_the_place_of_the_grades(any_model):
    units = any_model.grade.sharpness.transfer_units
    assert outlet(any_model, 0.9, tds=100.0) == outlet(any_model, 0.9, units=units, tds=100.0)
    sharp = outlet(any_model, 0.9, units=40.0, tds=100.0, **BICARBONATE)
    assert sharp == pytest.approx(100 * film_breakthrough(0.9, 40.0))


def test_charges_readings_and_a_grid_are_one_call(any_model):
    water = water_of(tds=np.array([[[100.0]], [[200.0]]]))
    used = np.array([0.7, 0.8, 0.9])[:, None] / np.linspace(0.8, 1.2, 5)
    units = np.array([10.0, 20.0])[:, None, None, None]
    grid = any_model.outlet_mg_l(used, water, np.full((2, 3, 1), NAN), units)
    assert grid.shape == (2, 2, 3, 5)
    alone = outlet(any_model, used[1, 4], units=20.0, tds=200.0)
    assert grid[1, 1, 1, 4] == pytest.approx(alone, rel=1e-12)


def test_outlet_where_only_conductivity_was_read(model):
    """200 uS/cm on a meter of 0.7 would show 140 mg/L; with no factor 100."""
    assert outlet(model, 2.0, conductivity=200.0, factor=0.7) == pytest.approx(140.0)
    assert outlet(model, 2.0, conductivity=200.0) == pytest.approx(100.0)


def test_outlet_is_unknown_where_the_use_or_the_inlet_is(model):
    assert np.isnan(outlet(model, NAN, tds=100.0))
    assert np.isnan(outlet(model, 0.5))


def test_a_polishing_bed_adds_nothing_to_pure_water(model):
    assert outlet(model, [0.0, 2.0], tds=0.0).tolist() == [0.0, 0.0]


def test_a_bed_cannot_be_used_less_than_not_at_all(model):
    with pytest.raises(ModelInputError, match=r"used_fraction is -0\.1"):
        outlet(model, -0.1, tds=100.0)


@settings(deadline=None, max_examples=50)
@given(
    used=st.lists(st.floats(0, 2), min_size=2, max_size=2),
    tds=st.floats(0, 1000),
    alkalinity=st.one_of(st.just(NAN), st.floats(0, 1000)),
    flow=st.one_of(st.just(NAN), st.floats(0, 100)),
)
def test_outlet_never_falls_with_use_and_never_passes_the_inlet(used, tds, alkalinity, flow):
    for model in MODELS.values():
        earlier, later = outlet(model, sorted(used), flow, tds=tds, alkalinity=alkalinity)
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
