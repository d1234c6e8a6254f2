"""What applies and what holds come to one of five outcomes."""

import polars as pl
import pytest

from qa_engine.conformity import outcome_expression, outcome_of_one

TABLE = {
    (True, True): 1,
    (True, False): 0,
    (True, None): -1,
    (False, True): 3,
    (False, False): 3,
    (False, None): 3,
    (None, True): 1,
    (None, False): -1,
    (None, None): -1,
}


@pytest.mark.parametrize(("answers", "outcome"), TABLE.items())
def test_an_undecided_application_conforms_only_if_the_requirement_holds(answers, outcome):
    assert outcome_of_one(*answers) == outcome


def test_many_subjects_get_the_outcomes_that_each_of_them_gets_alone():
    frame = pl.DataFrame(list(TABLE), schema={"a": pl.Boolean, "r": pl.Boolean}, orient="row")
    outcomes = frame.select(outcome_expression(pl.col("a"), pl.col("r"))).to_series()
    assert outcomes.to_list() == list(TABLE.values())
    assert outcomes.dtype == pl.Int8


def test_a_rule_without_applies_if_applies_to_all():
    frame = pl.DataFrame({"r": [True, False, None]})
    outcomes = frame.select(outcome_expression(None, pl.col("r"))).to_series().to_list()
    assert outcomes == [outcome_of_one(True, holds) for holds in frame["r"]] == [1, 0, -1]
