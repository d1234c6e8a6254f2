"""How probable a reading is: rounding, the meter's scatter, that of the curve, and slips."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qa_engine.depletion.likelihood import (
    DISCREPANCY,
    SHAPE,
    SLIPS,
    Shown,
    log_likelihood,
    offset_of,
    scatter_factor,
)


def shown(*outlets, step=1.0, sd=0.5, inlet=200.0):
    outlet = np.array(outlets, dtype=float)
    return Shown(outlet, *(np.full(outlet.shape, number) for number in (step, sd, inlet)))


def probability(outlet, expected, **more):
    return float(np.exp(log_likelihood(shown(outlet, **more), np.array([[float(expected)]])))[0, 0])


@pytest.mark.parametrize("expected", [0.0, 0.3, 5.0, 180.0])
def test_all_that_a_meter_can_show_adds_up_to_one(expected):
    """Readings of 0, 1, 2, ...; slips are spread over 0 to 200 and the one step around."""
    readings = np.arange(0.0, 4000.0)
    found = np.exp(log_likelihood(shown(*readings), np.full((len(readings), 1), expected)))
    by_slip = SLIPS / (np.maximum(readings, 200.0) + 1.0)
    assert found[:, 0].sum() - by_slip.sum() == pytest.approx(1 - SLIPS, abs=1e-6)


def test_a_zero_is_anything_below_half_a_digit():
    # The offset is 0.5 / 0.302 = 1.654. For an expected 1: x = (0.5 + 1.654) / (1 + 1.654) =
    # 0.8116, and F = x^6 / (1 + x^6) = 0.2222; times 0.99, and 0.01 / 201 by slip.
    assert offset_of(np.array(0.5), np.array(1.0)) == pytest.approx(1.654, abs=1e-3)
    assert probability(0, 1) == pytest.approx(0.99 * 0.2222 + 0.01 / 201, abs=1e-4)


def test_far_above_the_digits_the_scatter_is_proportional():
    """At a shape of 6 three quarters lie below 3 ** (1/6) = 1.2009 times what is expected."""
    assert scatter_factor(0.75) == pytest.approx(1.200937)
    steps = np.arange(0.0, 1201.0)
    found = np.exp(
        log_likelihood(shown(*steps, sd=0.3, inlet=1e9), np.full((len(steps), 1), 1000.0))
    )
    assert found.sum() / (1 - SLIPS) == pytest.approx(0.75, abs=0.001)


def test_the_discrepancy_is_that_of_a_logistic_logarithm():
    draws = np.log(scatter_factor((np.arange(100_000) + 0.5) / 100_000))
    assert draws.std() == pytest.approx(DISCREPANCY, abs=1e-3)
    assert pytest.approx(np.pi / np.sqrt(3) / SHAPE) == DISCREPANCY


def test_a_slip_of_the_pen_does_not_rule_out_the_truth():
    """120 written for 12: one in a hundred readings says nothing, so 0.01 / 201 at the least."""
    assert probability(120, 2) >= SLIPS / 201
    assert probability(120, 2) < 1e-4


def test_what_a_model_cannot_tell_says_nothing():
    found = log_likelihood(shown(3.0), np.array([[np.nan, np.nan]]))
    assert found.tolist() == [[0.0, 0.0]]


@settings(deadline=None, max_examples=60, derandomize=True)
@given(
    outlet=st.integers(0, 500),
    expected=st.floats(0.0, 1e4),
    step=st.sampled_from([0.01, 0.1, 1.0, 10.0]),
    sd=st.floats(0.0, 50.0),
)
def test_no_reading_is_impossible_nor_certain(outlet, expected, step, sd):
    found = log_likelihood(
        shown(float(outlet), step=step, sd=sd), np.array([[expected]], dtype=float)
    )
    assert np.isfinite(found).all()
    assert found[0, 0] <= 0.0


def test_the_most_probable_expectation_is_what_was_read():
    expected = np.linspace(5.0, 80.0, 751)[np.newaxis]
    found = log_likelihood(shown(30.0), expected)
    assert expected[0, np.argmax(found)] == pytest.approx(30.0, abs=0.2)
