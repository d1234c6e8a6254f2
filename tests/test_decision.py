"""How rule files ask for guarded acceptance, and what is refused."""

import pytest

from qa_engine.errors import RuleSetError
from qa_engine.facts import ENGINE_FACTS
from qa_engine.facts.catalogue import Catalogue
from qa_engine.rulesets import check_examples, read_rule_sets

CATALOGUE = Catalogue.of(ENGINE_FACTS)

TEXT = """
rule_set: house
title: House
edition: 2026-01
in_force: {from: 2020-01-01}
owner: standards lead
rules:
  - rule: outlet-surely-below-house-limit
    title: Outlet surely below the house limit
    subject: reading
    applies_if: sampled == "flowing"
    requires: outlet_tds < house_limit
    decision: {acceptance: guarded, confidence: 95 %}
    limits: {house_limit: {is: 10 mg/L, basis: common practice}}
    grading: minor
    says: Outlet read {outlet_tds}, limit {house_limit}.
    correction: Change the resin.
    examples:
      conforms:
        - {sampled: flowing, outlet_tds: 8.8 mg/L, uncertainty of outlet_tds: 0.7 mg/L}
        - {sampled: flowing, outlet_tds: 9.99 mg/L, uncertainty of outlet_tds: 0}
      does_not_conform:
        - {sampled: flowing, outlet_tds: 11.2 mg/L, uncertainty of outlet_tds: 0.0007 g/L}
      undecided:
        - {sampled: flowing, outlet_tds: 9 mg/L, uncertainty of outlet_tds: 0.7 mg/L}
        - {sampled: flowing, outlet_tds: 2 mg/L}
      not_applicable:
        - {sampled: standing, outlet_tds: 9 mg/L, uncertainty of outlet_tds: 0.7 mg/L}
"""


def read(*changes):
    text = TEXT
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    return read_rule_sets([("house.yaml", text.encode())], CATALOGUE)


def the_problem(*changes):
    with pytest.raises(RuleSetError) as caught:
        read(*changes)
    (problem,) = caught.value.problems
    return problem


def test_examples_state_the_uncertainty_beside_the_fact():
    """8.8 + 1.151 and 11.2 - 1.151 stay clear of 10, 9 + 1.151 does not."""
    assert check_examples(read(), CATALOGUE) == ()


def test_an_example_that_would_do_with_simple_acceptance_is_noticed():
    problems = check_examples(read(("outlet_tds: 8.8 mg/L", "outlet_tds: 8.9 mg/L")), CATALOGUE)
    assert ["its outcome is undecided" in problem.message for problem in problems] == [True]


def test_a_rule_says_how_it_decides_and_needs_the_uncertainty():
    rule = read()[0].rules[0]
    assert (rule.decision.acceptance, rule.decision.confidence) == ("guarded", 0.95)
    assert str(rule.decision) == "guarded acceptance: 95 % sure, or it is undecided"
    assert rule.needs == ("sampled", "outlet_tds", "uncertainty of outlet_tds")
    assert rule.known >= {"uncertainty of outlet_tds"}


def test_a_rule_is_simple_unless_it_says_otherwise():
    decision = "    decision: {acceptance: guarded, confidence: 95 %}\n"
    for instead in ("", "    decision: {acceptance: simple}\n"):
        rule = read((decision, instead))[0].rules[0]
        assert rule.decision.confidence is None
        assert rule.needs == ("sampled", "outlet_tds")
        assert str(rule.decision).startswith("simple acceptance")


def test_what_a_rule_is_confined_to_is_not_guarded():
    """Only conformity is decided with confidence: 9 is below 10, so the rule applies."""
    rule = read(('sampled == "flowing"', "outlet_tds < house_limit"))[0].rules[0]
    assert rule.applies_if.of_one({"outlet_tds": 9.0}) is True


@pytest.mark.parametrize(
    ("changes", "message", "help"),
    [
        ([(", confidence: 95 %", "")], "guarded acceptance needs to know how sure", "add a conf"),
        ([("guarded, conf", "simple, conf")], "simple acceptance asks for no confidence", "leave"),
        ([("95 %", "40 %")], "'40 %' is not a confidence that can be asked for: it is not from",
         "a confidence is written 95 %"),
        ([("95 %", "100 %")], "'100 %' is not a confidence", "a confidence is written 95 %"),
        ([("95 %", "95")], "'95' is not a confidence", "a confidence is written 95 %"),
        ([("95 %", "95 mg/L")], "'95 mg/L' is not a confidence", "a confidence is written 95 %"),
        ([("outlet_tds < house_limit", "colour_front < house_limit"), ("10 mg/L", "50 %"),
          ("read {outlet_tds}", "read {colour_front}")],
         "no comparison here measures anything whose uncertainty is known",
         "uncertain facts of this subject are: inlet_as_tds, inlet_conductivity, inlet_tds"),
        ([("outlet_tds < house_limit", "outlet_tds == house_limit")],
         "'outlet_tds' is uncertain, and so never surely equal to anything", "give it a lower"),
        ([("outlet_tds < house_limit", "outlet_tds * 2 < house_limit")],
         "uncertainty is not carried through reckoning with 'outlet_tds'", "compare the fact"),
    ],
)  # fmt: skip
def test_a_decision_that_cannot_be_taken_is_one_problem_with_its_line(changes, message, help):
    problem = the_problem(*changes)
    assert problem.message.startswith(message)
    assert problem.help.startswith(help)
    line = TEXT.splitlines()[problem.line - 1]
    assert line.strip().startswith(("decision:", "requires:"))


def test_an_uncertainty_cannot_be_named_in_a_condition():
    with pytest.raises(RuleSetError):
        read(("outlet_tds < house_limit", "uncertainty of outlet_tds < house_limit"))
