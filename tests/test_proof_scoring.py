"""Scores: what the examples of a rule must notice and show, and what would do where they do not."""

from dataclasses import replace
from importlib.resources import files

import pytest

from qa_engine.facts import ENGINE_FACTS
from qa_engine.facts.catalogue import Catalogue
from qa_engine.plugins import rule_of_thumb
from qa_engine.proof import suggestion, verify
from qa_engine.proof.mutants import Original, mutants
from qa_engine.proof.scoring import score, sound_examples
from qa_engine.rulesets import check_examples, read_rule_sets

CATALOGUE = Catalogue.of((*ENGINE_FACTS, *rule_of_thumb.qa_facts()))
SHIPPED = read_rule_sets(
    [
        (file.name, file.read_bytes())
        for file in files("qa_engine.rules").iterdir()
        if file.name.endswith(".yaml")
    ],
    CATALOGUE,
)

HEAD = """\
rule_set: house
title: House
edition: 2026-04
in_force: {from: 2026-04-01}
owner: standards lead
rules:
"""
RULE = """\
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
"""
THIN = """\
      conforms:
        - {outlet_tds: 3 mg/L, sampled: flowing}
      does_not_conform:
        - {outlet_tds: 40 mg/L, sampled: flowing}
      undecided:
        - {sampled: flowing}
"""
FULL = """\
      conforms:
        - {outlet_tds: 19.9 mg/L, sampled: flowing}
        - {outlet_tds: 3 mg/L}
      does_not_conform:
        - {outlet_tds: 20 mg/L, sampled: flowing}
        - {outlet_tds: 20.1 mg/L, sampled: flowing}
      undecided:
        - {sampled: flowing}
      not_applicable:
        - {outlet_tds: 35 mg/L, sampled: first flush}
        - {outlet_tds: 35 mg/L, sampled: standing}
"""


def read(text):
    return read_rule_sets([("house.yaml", text.encode())], CATALOGUE)


def scored(examples, rule=RULE):
    edition = read(HEAD + rule + examples)[0]
    one = edition.rules[0]
    return score(Original(one, CATALOGUE.facts_of(one.subject), edition.document))


def whats(found):
    return [one.demand.what for one in found.unmet]


def test_examples_that_pin_a_rule_down_score_all():
    found = scored(FULL)
    assert (found.unmet, found.alike, found.share) == ((), (), 1.0)
    # Mutants: applies_if left out; == turned, 2 other words; < loose and turned; 19, 21, 20 g/L.
    assert (found.mutants, found.noticed) == (9, 9)
    # Cases: sampled holds, fails; TDS holds, fails, equal, below, above; each of 2 facts missing.
    assert (found.cases, found.shown) == (9, 9)


def test_examples_far_from_the_limit_and_of_one_side_of_a_clause_score_half():
    found = scored(THIN)
    assert whats(found) == [
        "the rule without its 'applies_if'",
        "'outlet_tds <= house_limit' in place of 'outlet_tds < house_limit'",
        "'19 mg/L' in place of '20 mg/L' for the limit house_limit",
        "'21 mg/L' in place of '20 mg/L' for the limit house_limit",
        "'sampled == \"flowing\"' deciding alone, by failing",
        "'outlet_tds' equal to 'house_limit'",
        "'outlet_tds' below 'house_limit' by one step of the limit or less",
        "'outlet_tds' above 'house_limit' by one step of the limit or less",
        "'sampled' missing where its value would decide",
    ]
    assert found.share == 9 / 18


@pytest.mark.parametrize(
    ("line", "lacking"),
    [
        ("        - {outlet_tds: 20 mg/L, sampled: flowing}\n", "'outlet_tds <= house_limit'"),
        ("        - {outlet_tds: 20.1 mg/L, sampled: flowing}\n", "above 'house_limit'"),
        ("        - {outlet_tds: 19.9 mg/L, sampled: flowing}\n", "'19 mg/L'"),
        ("        - {outlet_tds: 3 mg/L}\n", "'sampled' missing"),
    ],
)
def test_each_example_is_needed_for_something(line, lacking):
    assert line in FULL
    assert any(lacking in what for what in whats(scored(FULL.replace(line, ""))))


def test_a_witness_is_a_line_that_can_be_pasted_under_its_outcome():
    unmet = next(one for one in scored(THIN).unmet if "<=" in one.demand.what)
    assert (unmet.under, unmet.line) == (
        "does_not_conform",
        "- {sampled: flowing, outlet_tds: 20 mg/L}",
    )


def test_pasting_what_is_suggested_pins_the_rule_down():
    found = scored(THIN)
    head, *lines = suggestion(found).splitlines()
    assert head.startswith("to pin down 'outlet-below-house-limit'")
    pasted = THIN
    under = None
    for line in lines:
        if line.endswith(":"):
            under = line
            if under not in pasted:
                pasted += under + "\n"
        else:
            pasted = pasted.replace(under + "\n", f"{under}\n{line}\n")
    edition = read(HEAD + RULE + pasted)
    assert check_examples(edition, CATALOGUE) == ()
    assert scored(pasted).share == 1.0


def test_what_no_subject_can_tell_from_the_rule_is_not_counted():
    # Zero is the least that a gauge shows, so nothing lies one step below.
    rule = RULE.replace("outlet_tds < house_limit", "outlet_tds <= house_limit")
    found = scored(FULL, rule.replace("20 mg/L", "0 mg/L"))
    assert [one.what for one in found.alike] == [
        "'outlet_tds' below 'house_limit' by one step of the limit or less"
    ]


def test_a_limit_in_another_unit_is_met_exactly_in_its_own():
    rule = RULE.replace("20 mg/L", "1.1 bar").replace("subject: reading", "subject: rinse")
    rule = rule.replace("outlet_tds", "inlet_pressure")
    rule = rule.replace('sampled == "flowing"', 'purpose == "rinse"')
    found = scored("      conforms: {inlet_pressure: 1 bar, purpose: rinse}\n", rule)
    met = next(one for one in found.unmet if one.demand.what.endswith("equal to 'house_limit'"))
    assert met.line == "- {purpose: rinse, inlet_pressure: 110 kPa}"


def test_two_facts_compared_are_shown_equal_and_no_distance_is_asked_for():
    rule = RULE.replace("outlet_tds < house_limit", "outlet_tds <= inlet_tds")
    rule = rule.replace(
        "    limits:\n      house_limit: {is: 20 mg/L, basis: common practice}\n", ""
    )
    found = scored("      conforms: {inlet_tds: 250, outlet_tds: 3, sampled: flowing}\n", rule)
    told = [what for what in whats(found) if "'outlet_tds' " in what and "'inlet_tds'" in what]
    assert told == ["'outlet_tds' equal to 'inlet_tds'"]
    line = next(one.line for one in found.unmet if one.demand.what == told[0])
    assert line == "- {sampled: flowing, outlet_tds: 250 mg/L, inlet_tds: 250 mg/L}"


def test_words_that_yaml_would_misread_are_quoted_in_a_witness():
    rule = RULE.replace('sampled == "flowing"', "'source == \"8%: pond\"'")
    found = scored("      conforms: {outlet_tds: 3, source: pond}\n", rule)
    lines = [one.line for one in found.unmet]
    assert '- {source: "8%: pond", outlet_tds: 20 mg/L}' in lines
    assert pasted_outcome(rule, lines)


def pasted_outcome(rule, lines):
    """Whether lines, pasted as examples, are read and bring no problem of their form."""
    listed = "".join(f"        {line}\n" for line in lines)
    edition = read(HEAD + rule + "      conforms:\n" + listed)[0]
    return len(sound_examples(edition.rules[0], CATALOGUE.facts_of("reading"))) == len(lines)


@pytest.mark.parametrize("edition", SHIPPED, ids=str)
def test_the_examples_of_what_ships_notice_every_mutant_and_show_every_case(edition):
    verified = verify([edition], CATALOGUE)
    assert verified.problems == ()
    assert all(one.share == 1.0 for one in verified.scores)
    assert sum(one.mutants for one in verified.scores) >= 4 * len(edition.rules)


EACH_RULE = [pytest.param(e, r, id=r.rule) for e in SHIPPED for r in e.rules]


@pytest.mark.parametrize(("edition", "rule"), EACH_RULE)
def test_without_the_examples_that_notice_a_mutant_the_check_names_it(edition, rule):
    original = Original(rule, CATALOGUE.facts_of(rule.subject), edition.document)
    examples = sound_examples(rule, original.facts)
    assert len(examples) == len(rule.examples)
    noticing = {}
    for mutant in mutants(original):
        changed = [mutant.rule.outcome_of_one(e) != rule.outcome_of_one(e) for e in examples]
        noticing.setdefault(tuple(changed), []).append(mutant)
    alike = noticing.pop((False,) * len(examples), [])
    assert {one.what for one in alike} <= {one.what for one in score(original).alike}
    assert noticing
    for changed, unnoticed in noticing.items():
        rest = [e for e, noticed in zip(rule.examples, changed, strict=True) if not noticed]
        poorer = replace(edition, rules=(replace(rule, examples=tuple(rest)),))
        told = [problem.message for problem in verify([poorer], CATALOGUE).problems]
        for mutant in unnoticed:
            assert any(f"'{rule.rule}' notices {mutant.what}" in message for message in told)


def test_a_guarded_rule_is_asked_for_what_only_guarding_leaves_open():
    rule = RULE.replace(
        "    grading:", "    decision: {acceptance: guarded, confidence: 95 %}\n    grading:"
    )
    sure = "outlet_tds: 3, uncertainty of outlet_tds: 1, sampled: flowing"
    found = scored(f"      conforms: {{{sure}}}\n", rule)
    simple = next(one for one in found.unmet if one.demand.what.startswith("'simple'"))
    # At the limit the value is as likely above as below, so 95 % cannot be reached.
    assert (simple.under, simple.witness["outlet_tds"]) == ("undecided", 20.0)
    # What is measured is never met exactly, so loose and strict are alike.
    assert "'outlet_tds <= house_limit'" in found.alike[0].what
    assert "'uncertainty of outlet_tds' missing where its value would decide" in whats(found)
