"""The normal distribution over columns, against the one for single numbers."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qa_engine.probability import conformance_probability, normal_cdf

probabilities = settings(deadline=None, derandomize=True, max_examples=200)
VALUES = st.floats(0, 40)
SPREADS = st.floats(0.01, 5)
LIMITS = st.floats(0, 40)


@probabilities
@given(st.floats(-36, 36))
def test_columns_agree_with_the_error_function_of_single_numbers(z):
    alone = 0.5 * math.erfc(-z / math.sqrt(2))
    assert float(normal_cdf(z)) == pytest.approx(alone, rel=1e-12, abs=1e-290)


def test_far_out_nothing_is_left_and_nothing_is_lacking():
    assert normal_cdf([-math.inf, math.inf, 0.0]).tolist() == pytest.approx([0, 1, 0.5], abs=1e-14)


@probabilities
@given(VALUES, SPREADS, LIMITS)
def test_below_and_above_a_limit_make_up_one(y, u, limit):
    below = conformance_probability(y, u, upper=limit, floor=0.0)
    above = conformance_probability(y, u, lower=limit, floor=0.0)
    assert float(below + above) == pytest.approx(1.0, abs=1e-12)


@probabilities
@given(VALUES, SPREADS, LIMITS)
def test_cut_off_at_zero_less_is_likely_to_be_below_a_limit(y, u, limit):
    cut_off = conformance_probability(y, u, upper=limit, floor=0.0)
    assert cut_off <= conformance_probability(y, u, upper=limit) + 1e-12


def test_below_what_cannot_be_nothing_conforms():
    assert float(conformance_probability(3.0, 1.0, upper=-0.5, floor=0.0)) == 0.0


def test_columns_of_limits_go_with_columns_of_values():
    found = conformance_probability(np.array([9.0, 8.5]), [0.7, 0.6], upper=[10.0, 10.0])
    assert found.tolist() == pytest.approx([0.923436, 0.993790], abs=5e-7)
