"""Mutants: what a rule would be with one thing in it written wrongly."""

import pytest

from qa_engine.facts import ENGINE_FACTS
from qa_engine.facts.catalogue import Catalogue
from qa_engine.proof.forms import form_of, last_digit, rewritten
from qa_engine.proof.mutants import Original, mutants
from qa_engine.rulesets import read_rule_sets

CATALOGUE = Catalogue.of(ENGINE_FACTS)

FILE = """\
rule_set: house
title: House
edition: 2026-04
in_force: {{from: 2026-04-01}}
owner: standards lead
rules:
  - rule: one
    title: One
    subject: {subject}
    requires: >-
      {requires}
    {limits}
    grading: minor
    says: Something is wrong.
    correction: Put it right.
    examples: {{conforms: []}}
"""


def original(requires, limits="", subject="reading"):
    text = FILE.format(subject=subject, requires=requires, limits=limits)
    edition = read_rule_sets([("house.yaml", text.encode())], CATALOGUE)[0]
    rule = edition.rules[0]
    return Original(rule, CATALOGUE.facts_of(rule.subject), edition.document)


def limit(written):
    return f"limits: {{limit: {{is: {written}, basis: common practice}}}}"


def conditions(requires, limits="", subject="reading"):
    """The wordings of the requirement in all mutants that change it."""
    one = original(requires, limits, subject)
    texts = [mutant.rule.requires.text for mutant in mutants(one)]
    return [text.replace("'", '"') for text in texts if text != one.rule.requires.text]


def quantities(limits, requires="outlet_tds < limit"):
    """What the limit would be in all mutants that change it, as written."""
    one = original(requires, limits)
    found = [mutant.rule.limits["limit"] for mutant in mutants(one)]
    return [changed.written for changed in found if changed != one.rule.limits["limit"]]


def test_a_comparison_is_made_loose_and_turned():
    assert conditions("outlet_tds < limit", limit("20 mg/L")) == [
        "outlet_tds <= limit",
        "outlet_tds > limit",
    ]


def test_each_link_of_a_chain_is_changed_by_itself_and_left_out():
    assert conditions("0 < rinses <= 12", subject="rinse")[:6] == [
        "0 <= rinses <= 12",
        "0 < rinses < 12",
        "0 > rinses <= 12",
        "0 < rinses >= 12",
        "rinses <= 12",
        "0 < rinses",
    ]


def test_a_number_in_a_condition_moves_by_its_last_digit_either_way():
    found = conditions("used_fraction < 0.85")
    assert found[2:] == ["used_fraction < 0.84", "used_fraction < 0.86"]


def test_and_becomes_or_and_each_clause_is_left_out_or_denied():
    assert conditions("meter_known and recorded(by)") == [
        "meter_known or recorded(by)",
        "recorded(by)",
        "meter_known",
        "not meter_known and recorded(by)",
        "meter_known and (not recorded(by))",
    ]


def test_a_not_is_taken_away_once():
    assert conditions("not out_of_use") == ["out_of_use"]


def test_a_word_is_exchanged_for_each_other_word_of_its_list():
    assert conditions('sampled == "flowing"') == [
        'sampled != "flowing"',
        'sampled == "first flush"',
        'sampled == "standing"',
    ]


def test_a_list_is_denied_and_shortened():
    found = conditions('sampled in ("flowing", "standing")')
    assert found[:3] == [
        'sampled not in ("flowing", "standing")',
        'sampled in ("standing",)',
        'sampled in ("flowing",)',
    ]


def test_reckoning_is_turned_and_loses_terms_where_units_allow_it():
    requires = "abs(inlet_tds - outlet_tds) < limit"
    assert conditions(requires, limit("5 mg/L")) == [
        "abs(inlet_tds - outlet_tds) <= limit",
        "abs(inlet_tds - outlet_tds) > limit",
        "inlet_tds - outlet_tds < limit",
        "abs(inlet_tds + outlet_tds) < limit",
        "abs(inlet_tds) < limit",
        "abs(outlet_tds) < limit",
    ]
    # A product loses no factor, and becomes no quotient, since its unit would be another.
    found = conditions("limit * inlet_conductivity < inlet_tds", limit("0.5 mg/L per uS/cm"))
    assert len(found) == 2


def test_the_least_becomes_the_greatest():
    assert "max(inlet_tds, outlet_tds) < limit" in conditions(
        "min(inlet_tds, outlet_tds) < limit", limit("5 mg/L")
    )


def test_a_limit_moves_by_its_last_digit_and_takes_each_other_unit_that_makes_it_another():
    assert quantities(limit("20 mg/L")) == ["19 mg/L", "21 mg/L", "20 g/L"]  # ppm is mg/L
    assert quantities(limit("0.020 g/L")) == [
        "0.019 g/L", "0.021 g/L", "0.020 mg/L", "0.020 ppm"
    ]  # fmt: skip


def test_a_limit_of_zero_is_the_same_in_every_unit_unless_its_zero_is_elsewhere():
    assert quantities(limit("0 d"), "charge_age > limit") == ["-1 d", "1 d"]
    found = quantities(limit("0 degC"), "water_temperature > limit")
    assert found == ["-1 degC", "1 degC", "0 degF"]


def test_a_limit_per_word_moves_word_by_word():
    limits = "limits: {limit: {by: position, is: {lead: 9 mg/L, polish: 0.5 mg/L}, basis: house}}"
    assert quantities(limits) == [
        "lead 8 mg/L", "lead 10 mg/L", "lead 9 g/L",
        "polish 0.4 mg/L", "polish 0.6 mg/L", "polish 0.5 g/L",
    ]  # fmt: skip
    moved = [m.rule.limits["limit"].values for m in mutants(original("outlet_tds < limit", limits))]
    assert {"lead": 9.0, "polish": 500.0} in moved  # 0.5 g/L is 500 mg/L


def test_an_applies_if_is_left_out_as_a_whole():
    text = FILE.format(subject="reading", requires="meter_known", limits="applies_if: out_of_use")
    edition = read_rule_sets([("house.yaml", text.encode())], CATALOGUE)[0]
    one = Original(edition.rules[0], CATALOGUE.facts_of("reading"), edition.document)
    assert [mutant.rule.applies_if for mutant in mutants(one)].count(None) == 1


def test_a_mutant_says_both_wordings_and_stands_where_the_first_one_does():
    one = original("meter_known\n      and outlet_tds < limit", limit("20 mg/L"))
    mutant = next(m for m in mutants(one) if "<=" in m.what)
    assert mutant.what == "'outlet_tds <= limit' in place of 'outlet_tds < limit'"
    problem = mutant.place.problem(one.document, "here")
    assert (problem.line, problem.column) == (12, 11)


@pytest.mark.parametrize(
    ("written", "step"),
    [("20", "1"), ("19.9", "0.1"), ("0.050", "0.001"), ("2e3", "1000"), ("5.", "1"), ("0", "1")],
)
def test_a_step_is_one_of_the_last_digit_written(written, step):
    assert str(f"{last_digit(written):f}") == step


def test_a_form_keeps_the_places_of_its_text_and_its_other_parts():
    text = "  meter_known and recorded(by)"
    form = form_of(text)
    part = form.values[1]
    assert text[part.col_offset : part.end_col_offset] == "recorded(by)"
    assert rewritten(form, part, form.values[0]) == "meter_known and meter_known"
    assert rewritten(form, form, part) == "recorded(by)"
