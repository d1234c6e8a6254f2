"""Examples in rule files: each must be given the outcome it is listed under."""

import pytest

from qa_engine.facts import Fact, FactGroup
from qa_engine.facts.catalogue import Catalogue
from qa_engine.rulesets import check_examples, read_rule_sets

CATALOGUE = Catalogue.of(
    [
        FactGroup(
            ("reading",),
            (
                Fact("tank_known", "yes/no", "", absent="no"),
                Fact("affected_readings", "records", ""),
            ),
            lambda subjects, past: subjects,
        )
    ]
)

TEXT = """\
rule_set: rinse-water
title: Rinse water
edition: 2026-04
in_force: {from: 2026-04-01}
owner: standards lead
rules:
  - rule: outlet-below-house-limit
    title: Outlet water stays below the house limit
    subject: reading
    applies_if: sampled == "flowing"
    requires: outlet_tds < house_limit
    limits:
      house_limit: {is: 20 mg/L, basis: common practice}
    grading: minor
    says: Outlet water read {outlet_tds}.
    correction: Finish this vehicle, then change the resin.
    examples:
      conforms: [{outlet_tds: 19.9 mg/L, sampled: flowing}]
      does_not_conform: {outlet_tds: 20, sampled: flowing}
      undecided: [{sampled: flowing}, {outlet_tds: ~, sampled: flowing}]
      not_applicable: [{outlet_tds: 0.035 g/L, sampled: first flush}]
"""


def found(*changes, text=TEXT):
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    editions = read_rule_sets([("f.yaml", text.encode())], CATALOGUE)
    lines = text.splitlines()
    return [
        (p.message, lines[p.line - 1][p.column - 1 :], p.help)
        for p in check_examples(editions, CATALOGUE)
    ]


def test_examples_that_are_right_bring_no_problem():
    assert found() == []


@pytest.mark.parametrize(
    ("old", "new", "message", "at", "help"),
    [
        ("outlet_tds: 20,", "outlet_tds: 19,",
         "this example of 'outlet-below-house-limit' is listed under does_not_conform, "
         "but its outcome is conforms", "{outlet_tds: 19", ""),
        ("[{outlet_tds: 19.9 mg/L, s", "[{s",
         "this example of 'outlet-below-house-limit' is listed under conforms, "
         "but its outcome is undecided", "{sampled", "what it does not state is missing"),
        ("outlet_tds: 19.9", "outlet_tsd: 19.9", "'outlet_tsd' is not a fact of a reading",
         "outlet_tsd", "did you mean 'outlet_tds'?"),
        ("outlet_tds: 19.9 mg/L", "inlet_tds: 19.9 mg/L, outlet_tds: 1",
         "the rule never reads 'inlet_tds'", "inlet_tds", "it reads: sampled, outlet_tds"),
        ("19.9 mg/L", "19.9 kPa", "'outlet_tds': kPa and mg/L do not measure the same thing",
         "19.9 kPa", "expected a number in mg/L"),
        ("19.9 mg/L", "little", "'outlet_tds': 'little' is not a number with a unit",
         "little", "expected a number in mg/L"),
        ("19.9 mg/L", "-1", "'outlet_tds': '-1' is out of range", "-1", "from 0 to 50000 mg/L"),
        ("sampled: first flush", "sampled: frist flush", "'sampled': 'frist flush' is not known",
         "frist flush", "did you mean 'first flush'? it is one of"),
    ],
)  # fmt: skip
def test_a_wrong_example_is_a_problem_at_its_place(old, new, message, at, help):
    ((said, where, would_do),) = found((old, new))
    assert said == message or said.startswith(message)
    assert where.startswith(at)
    assert would_do.startswith(help)


@pytest.mark.parametrize(
    ("line", "lacking"),
    [
        ("      conforms: [{outlet_tds: 19.9 mg/L, sampled: flowing}]\n", "conforms"),
        ("      does_not_conform: {outlet_tds: 20, sampled: flowing}\n", "does_not_conform"),
        (
            "      undecided: [{sampled: flowing}, {outlet_tds: ~, sampled: flowing}]\n",
            "undecided",
        ),
    ],
)
def test_each_rule_needs_examples_of_three_outcomes(line, lacking):
    ((said, where, _),) = found((line, ""))
    assert said == f"'outlet-below-house-limit' has no example under {lacking}"
    assert where.startswith("examples")


CERTAIN = """\
    requires: tank_known and recorded(outlet_tds)
    grading: minor
    says: The tank of this reading is not known.
    correction: Add it to the register.
    examples:
      conforms: {tank_known: yes, outlet_tds: 1}
      does_not_conform: [{tank_known: no, outlet_tds: 1}, {tank_known: true}]
"""


def test_no_undecided_example_is_asked_for_where_nothing_can_be_undecided():
    text = TEXT.partition("    applies_if")[0] + CERTAIN
    assert found(text=text) == []
    ((said, _, _),) = found(("{tank_known: yes,", "{tank_known: maybe,"), text=text)
    assert said == "'tank_known': 'maybe' is neither yes nor no"
