"""Bayes' rule on a grid: its laws, and quantiles of weights spread over cells."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qa_engine.depletion.posterior import learn, quantiles
from qa_engine.errors import ModelInputError

WEIGHTS = st.lists(st.floats(1e-6, 1.0), min_size=5, max_size=5).map(np.array)
LOGS = st.lists(st.floats(-50.0, 0.0), min_size=5, max_size=5).map(np.array)
laws = settings(deadline=None, max_examples=50, derandomize=True)


@laws
@given(prior=WEIGHTS, first=LOGS, second=LOGS)
def test_the_order_of_evidence_does_not_matter_and_neither_does_its_splitting(prior, first, second):
    together = learn(prior, first + second)
    np.testing.assert_allclose(learn(learn(prior, first), second), together, atol=1e-12)
    np.testing.assert_allclose(learn(learn(prior, second), first), together, atol=1e-12)


@laws
@given(prior=WEIGHTS, logs=LOGS, shift=st.floats(-1000.0, 1000.0))
def test_a_constant_in_the_likelihood_changes_nothing(prior, logs, shift):
    np.testing.assert_allclose(learn(prior, logs + shift), learn(prior, logs), atol=1e-9)


@laws
@given(prior=WEIGHTS)
def test_evidence_that_says_nothing_leaves_the_prior(prior):
    np.testing.assert_allclose(learn(prior, np.zeros(5)), prior / prior.sum(), atol=1e-12)


def test_rows_are_learnt_each_by_itself():
    prior, logs = np.array([[1.0, 1.0], [1.0, 3.0]]), np.array([[0.0, 0.0], [0.0, -np.inf]])
    assert learn(prior, logs).tolist() == [[0.5, 0.5], [1.0, 0.0]]


def test_evidence_that_nothing_allows_is_refused():
    with pytest.raises(ModelInputError, match="impossible at every point"):
        learn(np.array([1.0, 0.0]), np.array([-np.inf, 0.0]))


def test_quantiles_by_hand():
    """Cells from 0.5, 1.5 and 2.5 on with 1/4, 1/2, 1/4: a half lies below 2, an eighth below 1."""
    found = quantiles(np.array([1.0, 2.0, 1.0]), np.array([1.0, 2.0, 3.0]), (0.125, 0.5, 0.875))
    assert found == pytest.approx([1.0, 2.0, 3.0])


@laws
@given(weights=WEIGHTS, shares=st.tuples(st.floats(0.01, 0.99), st.floats(0.01, 0.99)))
def test_quantiles_ascend_and_stay_within_the_cells(weights, shares):
    low, high = quantiles(weights, np.arange(5.0), sorted(shares))
    assert -0.5 - 1e-9 <= low <= high <= 4.5 + 1e-9
