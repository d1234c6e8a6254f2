"""Why a rule gave its outcome: part by part, and the same as the verdict that is given in bulk."""

import math
import random
import re
from importlib.resources import files

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qa_engine.conformity import outcome_expression
from qa_engine.explanation import explain
from qa_engine.explanation.deciding import cases_of
from qa_engine.explanation.tree import Part
from qa_engine.facts import ENGINE_FACTS
from qa_engine.facts.catalogue import Catalogue
from qa_engine.facts.fact import COLUMN_TYPES
from qa_engine.plugins import rule_of_thumb
from qa_engine.rulesets import read_rule_sets

SHIPPED = [path for path in files("qa_engine.rules").iterdir() if path.name.endswith(".yaml")]
CATALOGUE = Catalogue.of((*ENGINE_FACTS, *rule_of_thumb.qa_facts()))
EDITIONS = read_rule_sets(
    [(path.name, path.read_bytes()) for path in sorted(SHIPPED, key=lambda one: one.name)],
    CATALOGUE,
)
RULES = [rule for edition in EDITIONS for rule in edition.rules]
ROWS = 40

GUARDED = """\
rule_set: guarded
title: Guarded
edition: 2026-01
in_force: {from: 2026-01-01}
owner: standards lead
rules:
  - rule: outlet-surely-below
    title: Outlet surely below
    subject: reading
    applies_if: sampled == "flowing"
    requires: least <= outlet_tds < most or not (inlet_tds < most and inlet_tds > least)
    decision: {acceptance: guarded, confidence: 95 %}
    limits:
      least: {is: 2 mg/L, basis: made up}
      most: {is: 20 mg/L, basis: made up}
    grading: minor
    says: Outlet water read {outlet_tds}.
    correction: Change the resin.
    examples: {}
"""


def rule(text=None, **changes):
    """Return a rule about a reading; by default the one that asks for less than 20 mg/L."""
    written = {
        "applies_if": 'sampled == "flowing" and not softening_bed',
        "requires": "outlet_tds < most",
        **changes,
    }
    lines = "".join(f"    {key}: {value}\n" for key, value in written.items() if value)
    limits = "      most: {is: 20 mg/L, basis: made up}\n"
    limits += "      per_grade: {by: grade, is: {a: 5 mg/L, b: 9 mg/L}, basis: made up}\n"
    used = "".join(
        line + "\n" for line in limits.splitlines() if line.split(":")[0].strip() in str(written)
    )
    head = GUARDED[: GUARDED.index("    applies_if")]
    tail = GUARDED[GUARDED.index("    grading") :]
    (edition,) = read_rule_sets(
        [("r.yaml", (head + lines + ("    limits:\n" + used if used else "") + tail).encode())],
        CATALOGUE,
    )
    return edition.rules[0]


def outline(part: Part):
    """Return every comparison with its answer and whether it is decisive."""
    return [(one.text, one.holds, one.decisive) for one in part.comparisons]


def test_a_failing_reading_is_told_by_value_and_limit():
    why = explain(rule(), {"sampled": "flowing", "softening_bed": False, "outlet_tds": 36.0})
    assert why.outcome == 0
    assert outline(why.applies) == [
        ('sampled == "flowing"', True, True),
        ("not softening_bed", True, True),
    ]
    assert outline(why.requires) == [("outlet_tds < most", False, True)]
    assert why.requires.compared.says == "36 mg/L is not below 20 mg/L"
    assert (why.requires.compared.left.number, why.requires.compared.right.number) == (36.0, 20.0)
    assert why.missing == ()


def test_of_two_parts_that_must_hold_the_one_that_fails_decides():
    why = explain(
        rule(applies_if=None, requires="outlet_tds < most and inlet_tds > most"),
        {"outlet_tds": 3.0, "inlet_tds": 3.0},
    )
    assert outline(why.requires) == [
        ("outlet_tds < most", True, False),
        ("inlet_tds > most", False, True),
    ]


def test_of_two_parts_of_which_one_must_hold_both_must_fail():
    why = explain(
        rule(applies_if=None, requires="outlet_tds < most or inlet_tds < most"),
        {"outlet_tds": 30.0, "inlet_tds": 30.0},
    )
    assert [one.decisive for one in why.requires.comparisons] == [True, True]


def test_a_rule_that_does_not_apply_rests_on_what_it_is_confined_to():
    why = explain(rule(), {"sampled": "standing", "outlet_tds": 36.0})
    assert why.outcome == 3
    assert [one.text for one in why.decisive] == ['sampled == "flowing"']


def test_what_is_missing_is_named_only_where_the_outcome_rests_on_it():
    why = explain(rule(), {"sampled": "flowing", "softening_bed": False})
    assert (why.outcome, why.missing) == (-1, ("outlet_tds",))
    why = explain(rule(), {"outlet_tds": 3.0})
    assert (why.outcome, why.missing) == (1, ())  # met, whether it applies or not
    why = explain(rule(), {"outlet_tds": 30.0, "softening_bed": False})
    assert (why.outcome, why.missing) == (-1, ("sampled",))


def test_a_limit_without_a_value_for_the_grade_lacks_the_grade():
    asked = rule(applies_if=None, requires="outlet_tds < per_grade")
    assert explain(asked, {"outlet_tds": 3.0}).missing == ("grade",)
    assert explain(asked, {"outlet_tds": 3.0, "grade": "a"}).outcome == 1


@pytest.mark.parametrize(
    ("requires", "known", "says"),
    [
        ("outlet_tds < most", {"outlet_tds": 20.0}, "20 mg/L is not below 20 mg/L"),
        ("outlet_tds < most", {}, "not recorded, to be below 20 mg/L"),
        ("outlet_tds < inlet_tds", {"outlet_tds": 3.0}, "3 mg/L, to be below not recorded"),
        ("most > outlet_tds", {"outlet_tds": 3.0}, "3 mg/L is below 20 mg/L"),
        ("outlet_tds == most", {"outlet_tds": 3.0}, "3 mg/L is not equal to 20 mg/L"),
        ("outlet_tds != most", {"outlet_tds": 3.0}, "3 mg/L is not equal to 20 mg/L"),
        ("outlet_tds <= most", {"outlet_tds": 20.000004}, "20.000004 mg/L is not at most 20 mg/L"),
        ("recorded(outlet_tds)", {}, "outlet_tds is not recorded"),
        ("not recorded(outlet_tds)", {"outlet_tds": 1.0}, "outlet_tds is recorded"),
        ('sampled in ("flowing", "standing")', {"sampled": "standing"}, "sampled is standing"),
        ("softening_bed", {}, "softening_bed is not recorded"),
        ("charge_age < 3 * charge_age", {"charge_age": 1.0}, "1 day is below 3 days"),
        (
            "outlet_tds <= most",
            {"outlet_tds": 20.00000001},
            "20.00000001 mg/L is at most 20.0 mg/L (the same within a relative 1e-09, so it counts "
            "as met exactly)",
        ),
    ],
)  # fmt: skip
def test_a_comparison_is_told_with_its_values(requires, known, says):
    why = explain(rule(applies_if=None, requires=requires), known)
    assert why.requires.compared.says.replace("20.0 ", "20 ") == says.replace("20.0 ", "20 ")


def test_a_guarded_comparison_tells_uncertainty_and_probability():
    """30 mg/L is 10 mg/L above the limit, 2 standard uncertainties: conforms with about 2.3 %."""
    (edition,) = read_rule_sets([("g.yaml", GUARDED.encode())], CATALOGUE)
    known = {"outlet_tds": 30.0, "uncertainty of outlet_tds": 5.0, "sampled": "flowing"}
    known |= {"inlet_tds": 10.0, "uncertainty of inlet_tds": 0.1}
    why = explain(edition.rules[0], known)
    says = why.requires.parts[0].compared.says
    assert "30 mg/L is not below 20 mg/L" in says
    assert "standard uncertainty 5 mg/L" in says
    assert "a probability of 2.2" in says
    assert why.outcome == 0
    open_ = explain(edition.rules[0], known | {"uncertainty of outlet_tds": None})
    assert open_.missing == ("uncertainty of outlet_tds",)
    unread = {name: value for name, value in known.items() if "outlet" not in name}
    assert explain(edition.rules[0], unread).missing == ("outlet_tds",)


def subjects(judged, seed):
    """Return rows of random facts for a rule, as a frame and one by one."""
    chance = random.Random(seed)
    facts = CATALOGUE.facts_of(judged.subject)
    columns = {
        name: [value(facts[name], judged, chance) for _ in range(ROWS)] for name in judged.needs
    }
    schema = {name: COLUMN_TYPES[facts[name].type] for name in judged.needs}
    rows = [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]
    return pl.DataFrame(columns, schema=schema), rows


def value(fact, judged, chance):
    """Return a value that a fact can have: missing, at a limit, near one, or anywhere."""
    if chance.random() < 0.2:
        return None
    match fact.type:
        case "yes/no":
            return chance.random() < 0.5
        case "words":
            named = re.findall(r'"([^"]*)"', " ".join(c.text for c in judged.conditions))
            return chance.choice((*fact.words, *named, "standard mixed bed", "none of them"))
    limits = [n for one in judged.limits.values() for n in numbers(one)]
    near = chance.choice((*limits, 0.0, 1.0, 250.0)) * chance.choice((1, 1, 0.999999, 1.000001, 2))
    return min(max(near, fact.low), fact.high)


def numbers(limit):
    return [limit.values] if isinstance(limit.values, float) else list(limit.values.values())


def settled(part):
    """Return the answer that a part's parts give by Kleene's logic."""
    answers = [settled(one) for one in part.parts]
    if part.joined == "not":
        return None if answers[0] is None else not answers[0]
    if part.joined == "and":
        return False if False in answers else None if None in answers else True
    if part.joined == "or":
        return True if True in answers else None if None in answers else False
    return part.holds


@pytest.mark.parametrize("judged", RULES, ids=lambda rule: rule.rule)
def test_an_explanation_equals_the_bulk_verdict_for_random_facts(judged):
    """For every rule that ships, in every row: same outcome, and the parts add up to it."""
    frame, rows = subjects(judged, 7)
    applies = judged.applies_if.expression() if judged.applies_if else None
    bulk = frame.select(code=outcome_expression(applies, judged.requires.expression()))["code"]
    whys = [explain(judged, row) for row in rows]
    assert [why.outcome for why in whys] == bulk.to_list()
    for why in whys:
        for part in filter(None, (why.applies, why.requires)):
            assert settled(part) is part.holds
        assert bool(why.decisive)
        if why.outcome == -1:
            assert any(one.holds is None for one in why.decisive)
    assert len(set(bulk)) > 1  # the facts must be able to tell a wrong explanation


def other_answers(part, chance):
    """Return the answer if all comparisons that are not decisive had random answers."""
    answers = [other_answers(one, chance) for one in part.parts]
    if part.joined == "not":
        return None if answers[0] is None else not answers[0]
    if part.joined == "and":
        return False if False in answers else None if None in answers else True
    if part.joined == "or":
        return True if True in answers else None if None in answers else False
    return part.holds if part.decisive else chance.choice((True, False, None))


@settings(deadline=None, derandomize=True, max_examples=60)
@given(st.sampled_from(RULES), st.integers(0, 10**6))
def test_what_is_not_marked_as_decisive_could_have_been_anything(judged, seed):
    """Where a condition holds or fails, its decisive comparisons alone make it do so."""
    chance = random.Random(seed)
    for row in subjects(judged, seed)[1]:
        part = explain(judged, row).requires
        if part.holds is not None and part.decisive:
            assert other_answers(part, chance) is part.holds


@settings(deadline=None, derandomize=True, max_examples=60)
@given(st.sampled_from(RULES), st.integers(0, 10**6))
def test_the_values_said_to_settle_a_verdict_do_so(judged, seed):
    """Every limit of a case is tried on both sides, and values in between."""
    facts = CATALOGUE.facts_of(judged.subject)
    for row in subjects(judged, seed)[1][:5]:
        for name in judged.needs:
            if facts[name].type == "number":
                check_cases(judged, row, facts[name])


def check_cases(judged, row, fact):
    cases = cases_of(judged, row, fact)
    for number in tried(cases, fact):
        said = [case.outcome for case in cases if within(case.values, number)]
        assert said == [judged.outcome_of_one({**row, fact.name: number})], (cases, number, row)


def bounds(values):
    """Return the numbers in the words for a range."""
    words = (word.replace(",", "") for word in values.split())
    return [float(word) for word in words if word[-1].isdigit() and word[0] in "-0123456789"]


def within(values, number):
    """Tell whether a number is in a range that is told in words."""
    if values == "any value":
        return True
    low, high = -math.inf, math.inf
    found = bounds(values)
    if values.startswith(("below", "up to")):
        high = found[0]
    else:
        low = found[0]
        high = found[1] if len(found) > 1 else math.inf
    from_low = number >= low if values.startswith("from") else number > low
    to_high = number <= high if "up to" in values else number < high
    return from_low and to_high


def tried(cases, fact):
    edges = [edge for case in cases for edge in bounds(case.values)]
    at = (0.0,) if not any("about" in case.values for case in cases) else ()
    near = [edge * (1 + step) for edge in edges for step in (*at, 2e-5, -2e-5)]
    anywhere = [0.0, 1.0, 17.0, 1234.5, fact.low, fact.high]
    return [n for n in (*near, *anywhere) if fact.low <= n <= fact.high and math.isfinite(n)]


def test_words_and_yes_or_no_have_their_cases_too():
    facts = CATALOGUE.facts_of("reading")
    known = {"sampled": "flowing", "softening_bed": False, "outlet_tds": 36.0}
    told = [(c.values, c.outcome) for c in cases_of(rule(), known, facts["softening_bed"])]
    assert told == [("yes", 3), ("no", 0)]
    told = [(c.values, c.outcome) for c in cases_of(rule(), known, facts["sampled"])]
    assert told == [("any other word", 3), ("flowing", 0)]
