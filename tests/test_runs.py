"""Runs: neighbours with one outcome are one finding."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from qa_engine.conformity import CONFORMS, DOES_NOT_CONFORM, NOT_APPLICABLE, PENDING, UNDECIDED
from qa_engine.runs import NOWHERE, runs_of

C, F, U, P, N = CONFORMS, DOES_NOT_CONFORM, UNDECIDED, PENDING, NOT_APPLICABLE


def runs(outcomes, items=None, charges=None, wording=None):
    """Return the runs among outcomes of one item on one charge, unless told otherwise."""
    same = [0] * len(outcomes)
    return runs_of(
        np.array(outcomes, np.int8),
        np.array(items or same, np.int64),
        np.array(charges or same, np.int64),
        np.array(wording or same, np.int8),
    )


def spans(found):
    return list(zip(found.outcome.tolist(), found.first.tolist(), found.last.tolist(), strict=True))


def test_neighbours_that_fail_are_one_run():
    assert spans(runs([C, F, F, F, C, F])) == [(F, 1, 3), (F, 5, 5)]


def test_what_is_not_applicable_or_pending_is_passed_over():
    found = runs([F, N, P, F, C])
    assert spans(found) == [(F, 0, 3)]
    assert found.members.tolist() == [0, 3]


def test_undecided_and_failing_neighbours_are_two_runs():
    assert spans(runs([U, U, F])) == [(U, 0, 1), (F, 2, 2)]


def test_another_item_another_charge_and_another_edition_each_end_a_run():
    assert spans(runs([F, F], items=[0, 1])) == [(F, 0, 0), (F, 1, 1)]
    assert spans(runs([F, F], charges=[1, 2])) == [(F, 0, 0), (F, 1, 1)]
    assert spans(runs([F, F], wording=[0, 1])) == [(F, 0, 0), (F, 1, 1)]


def test_a_run_knows_the_last_subject_that_conformed_and_what_follows_it():
    found = runs([C, U, F, C, F], items=[0, 0, 0, 0, 1])
    assert found.conformed_before.tolist() == [0, 0, NOWHERE]
    assert found.followed_by.tolist() == [2, 3, NOWHERE]


def test_what_could_not_be_decided_settles_no_failure():
    assert runs([F, U, U]).followed_by.tolist() == [NOWHERE, NOWHERE]
    assert runs([F, U, F]).followed_by.tolist() == [2, 2, NOWHERE]
    assert runs([F, U, C]).followed_by.tolist() == [2, 2]
    assert runs([F, U], items=[0, 1]).followed_by.tolist() == [NOWHERE, NOWHERE]


def test_without_subjects_or_failures_there_are_no_runs():
    assert spans(runs([])) == []
    assert spans(runs([C, N, C])) == []


@given(st.lists(st.tuples(st.integers(0, 2), st.sampled_from([C, F, U, P, N])), max_size=40))
def test_members_are_every_failing_or_undecided_subject_once(subjects):
    subjects.sort(key=lambda one: one[0])
    items, outcomes = [s[0] for s in subjects], [s[1] for s in subjects]
    found = runs(outcomes, items or None)
    wanted = [place for place, outcome in enumerate(outcomes) if outcome in (F, U)]
    assert found.members.tolist() == wanted
    for place, run in zip(found.members.tolist(), found.run_of.tolist(), strict=True):
        assert found.first[run] <= place <= found.last[run]
        assert found.outcome[run] == outcomes[place]
