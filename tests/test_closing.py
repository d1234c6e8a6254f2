"""Closing: the first subject from a place on that conforms, on the same item."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from qa_engine.closing import next_conforming
from qa_engine.conformity import CONFORMS, DOES_NOT_CONFORM, NOT_APPLICABLE, PENDING, UNDECIDED
from qa_engine.runs import NOWHERE

C, F, U, P, N = CONFORMS, DOES_NOT_CONFORM, UNDECIDED, PENDING, NOT_APPLICABLE


def following(outcomes, items, places):
    arrays = (np.array(one, kind) for one, kind in [(outcomes, np.int8), (items, np.int64)])
    return next_conforming(*arrays, np.array(places, np.int64)).tolist()


def test_only_what_conforms_later_on_the_same_item_closes():
    assert following([F, U, C, F, C], [0, 0, 0, 0, 1], [0, 1, 2, 3, 4]) == [2, 2, 2, NOWHERE, 4]


def test_undecided_pending_and_not_applicable_close_nothing():
    assert following([F, U, P, N], [0] * 4, [0]) == [NOWHERE]
    assert following([], [], []) == []


@given(
    st.lists(
        st.tuples(st.integers(0, 2), st.sampled_from([C, F, U, P, N])), min_size=1, max_size=30
    )
)
def test_it_is_the_first_that_conforms_among_all_that_follow(subjects):
    subjects.sort(key=lambda one: one[0])
    items, outcomes = ([s[n] for s in subjects] for n in (0, 1))
    wanted = [
        next(
            (p for p in range(a, len(items)) if outcomes[p] == C and items[p] == items[a]), NOWHERE
        )
        for a in range(len(items))
    ]
    assert following(outcomes, items, range(len(items))) == wanted
