"""Bed arithmetic: capacity, throughput and flow, with what no bed can have refused."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qa_engine.errors import ModelInputError
from qa_engine.water import (
    flow_bv_h,
    mixed_bed_capacity_eq_l,
    shared_capacity_eq_l,
    throughput_l,
    velocity_m_h,
)

AMOUNT = st.floats(0.01, 100.0)


def test_capacity_is_that_of_the_weaker_side():
    """0.4 x 1.9 = 0.76 over 0.66; 0.2 x 1.9 = 0.38 under 0.88; a bed of one resin has none."""
    found = mixed_bed_capacity_eq_l([0.4, 0.2, 0.0, 1.0], 1.9, 1.1)
    np.testing.assert_allclose(found, [0.66, 0.38, 0.0, 0.0], rtol=1e-12)


@settings(deadline=None, max_examples=50)
@given(fraction=st.floats(0.0, 1.0), cation=AMOUNT, anion=AMOUNT)
def test_no_mixture_holds_more_than_the_balanced_one(fraction, cation, anion):
    """The sides are equal at f = a/(c + a), where a litre holds c a/(c + a)."""
    balanced = cation * anion / (cation + anion)
    assert mixed_bed_capacity_eq_l(fraction, cation, anion) <= balanced * (1 + 1e-12)
    at_balance = mixed_bed_capacity_eq_l(anion / (cation + anion), cation, anion)
    assert at_balance == pytest.approx(balanced, rel=1e-12)


@pytest.mark.parametrize("fraction", [-0.01, 1.01])
def test_a_fraction_is_from_0_to_1(fraction):
    with pytest.raises(ModelInputError, match=r"cation_fraction is .*from 0 to 1"):
        mixed_bed_capacity_eq_l(fraction, 1.9, 1.1)


def test_throughput_by_the_balance_of_equivalents():
    """0.5 eq/L x 10 L / 0.0025 eq/L = 2000 L; four fifths of it 1600 L."""
    np.testing.assert_allclose(throughput_l(0.5, 10.0, 0.0025, [1.0, 0.8]), [2000.0, 1600.0])


def test_water_without_load_has_no_throughput():
    with pytest.raises(ModelInputError, match=r"load_eq_l is 0\.0; expected a number above 0"):
        throughput_l(0.5, 10.0, [0.0025, 0.0])


@pytest.mark.parametrize("usable", [-0.1, 1.1])
def test_more_than_all_of_a_capacity_cannot_be_used(usable):
    with pytest.raises(ModelInputError, match=r"usable_fraction is"):
        throughput_l(0.5, 10.0, 0.0025, usable)


@settings(deadline=None, max_examples=50)
@given(capacity=AMOUNT, resin=AMOUNT, load=AMOUNT)
def test_the_water_of_a_throughput_carries_the_capacity_of_the_bed(capacity, resin, load):
    assert throughput_l(capacity, resin, load) * load == pytest.approx(capacity * resin, rel=1e-12)


def test_flow_in_bed_volumes_and_as_velocity():
    """10 L/min is 600 L/h: over 20 L 30 BV/h; 0.6 m3/h over pi/4 x 0.1^2 = 0.00785 m2: 76.39."""
    np.testing.assert_allclose(flow_bv_h([0.0, 10.0], 20.0), [0.0, 30.0])
    assert velocity_m_h(10.0, 100.0) == pytest.approx(76.394, abs=0.001)


@pytest.mark.parametrize("wrong", [0.0, -1.0])
def test_a_bed_without_size_is_refused(wrong):
    with pytest.raises(ModelInputError, match="resin_l is"):
        flow_bv_h(10.0, wrong)
    with pytest.raises(ModelInputError, match="bore_mm is"):
        velocity_m_h(10.0, wrong)


def test_an_indifferent_resin_shares_as_the_water_does():
    """Separation factor 1, one part to three: a quarter of the capacity."""
    assert shared_capacity_eq_l(2.0, 0.001, 0.003, 1.0) == pytest.approx(0.5)
    # Three times preferred: 1 / (1 + 3/3) = a half.
    assert shared_capacity_eq_l(2.0, 0.001, 0.003, 3.0) == pytest.approx(1.0)
