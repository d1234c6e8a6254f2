"""Reach: what a rule can make of whole ranges, and the flaws and rivals that are proven by it."""

from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qa_engine.conformity import CONFORMS
from qa_engine.facts import ENGINE_FACTS, Fact, FactGroup
from qa_engine.facts.catalogue import Catalogue
from qa_engine.proof import verify
from qa_engine.proof.boundaries import boundary, comparisons
from qa_engine.proof.mutants import Original
from qa_engine.proof.reach import NOTHING, Range, outcomes_within
from qa_engine.proof.scoring import score, sound_examples
from qa_engine.rulesets import check_examples, read_rule_sets
from qa_engine.rulesets.rule import LISTED_UNDER

CATALOGUE = Catalogue.of(ENGINE_FACTS)

HEAD = """\
rule_set: {name}
title: House
edition: {edition}
in_force: {{from: {edition}-01{until}}}
owner: standards lead
rules:
"""
RULE = """\
  - rule: {rule}
    title: One
    subject: reading
    {applies}
    requires: {requires}
    limits: {{{limits}}}
    grading: minor
    says: Something is wrong.
    correction: Put it right.
    examples: {{{examples}}}
"""


def rule(requires, applies="", examples="conforms: []", name="one", **limits):
    told = ", ".join(f"{n}: {{is: {written}, basis: house}}" for n, written in limits.items())
    applies = f"applies_if: {applies}" if applies else ""
    return RULE.format(
        rule=name, applies=applies, requires=requires, limits=told, examples=examples
    )


def editions(*files):
    """Editions of (name, edition, until, rules)."""
    sources = [
        (f"{name}.yaml", (HEAD.format(name=name, edition=edition, until=until) + rules).encode())
        for name, edition, until, rules in files
    ]
    return read_rule_sets(sources, CATALOGUE)


def wrong(*files):
    """What is wrong with rules, apart from their examples."""
    read = editions(*files)
    about_examples = check_examples(read, CATALOGUE)
    return [one for one in verify(read, CATALOGUE).wrong if one not in about_examples]


def alone(rules):
    return wrong(("house", "2026-01", "", rules))


REQUIRES = st.sampled_from(
    [
        "inlet_tds < low",
        "inlet_tds - outlet_tds >= low",
        "abs(inlet_tds - outlet_tds) <= low or meter_known",
        "low <= inlet_tds <= 3 * outlet_tds",
        "min(inlet_tds, outlet_tds) > low and not meter_known",
        "inlet_tds / outlet_tds > 2",
        "recorded(inlet_tds) and -inlet_tds < outlet_tds",
        'sampled == "flowing" and outlet_tds != low',
        'sampled in ("flowing", "standing") or inlet_tds + outlet_tds == low',
        "inlet_tds < by_position",
        "inlet_conductivity < 1.5 * inlet_conductivity and not recorded(position)",
    ]
)
BY = "{by: position, is: {lead: 9 mg/L, polish: 0.5 mg/L}, basis: house}"
NUMBERS = st.sampled_from([0.0, 1.0, 9.0, 10.0, 10.000001, 20.0, 500.0])
SPANS = st.tuples(NUMBERS, NUMBERS, st.booleans()).map(
    lambda one: Range(min(one[:2]), max(one[:2]), one[2])
)


def _text(applies, requires):
    """A rule with the limits that its conditions name, and no others."""
    used = (applies + requires).replace("flowing", "")
    limits = {"by_position": BY, "low": "{is: 10 mg/L, basis: house}"}
    told = ", ".join(f"{name}: {limit}" for name, limit in limits.items() if name in used)
    return rule(requires, applies).replace("limits: {}", f"limits: {{{told}}}")


def _edition(applies, requires):
    return editions(("house", "2026-01", "", _text(applies, requires)))[0]


def _rule(applies, requires):
    return _edition(applies, requires).rules[0]


@settings(deadline=None, max_examples=150)
@given(REQUIRES, REQUIRES, st.data())
def test_no_outcome_that_a_subject_of_a_box_has_is_left_out(applies, requires, data):
    one = _rule(applies, requires)
    facts = CATALOGUE.facts_of("reading")
    box, subject = {}, {}
    for name in one.needs:
        if facts[name].type == "number":
            box[name] = span = data.draw(st.one_of(SPANS, st.just(NOTHING)))
            inside = [n for n in (0.0, 1.0, 9.0, 10.0, 15.0, 500.0) if span.low <= n <= span.high]
            choices = [*inside, *([None] if span.missing else []), *span[:1]]
            subject[name] = data.draw(st.sampled_from(choices)) if span != NOTHING else None
        else:
            values = [True, False] if facts[name].type == "yes/no" else [*facts[name].words, "x"]
            chosen = data.draw(st.lists(st.sampled_from([*values, None]), min_size=1, unique=True))
            box[name] = frozenset(chosen)
            subject[name] = data.draw(st.sampled_from(chosen))
    assert one.outcome_of_one(subject) in outcomes_within(one, box)


def test_a_range_of_one_number_meets_its_limit_exactly():
    one = editions(("house", "2026-01", "", rule("inlet_tds <= low", low="0 mg/L")))[0].rules[0]
    assert outcomes_within(one, {"inlet_tds": Range(0.0, 0.0)}) == {CONFORMS}


def test_ranges_decide_where_they_lie_clear_of_a_limit():
    one = _rule("", "inlet_tds < low")
    assert outcomes_within(one, {"inlet_tds": Range(0.0, 9.0)}) == {CONFORMS}
    assert outcomes_within(one, {"inlet_tds": Range(0.0, 10.0)}) == {CONFORMS, 0}
    assert outcomes_within(one, {"inlet_tds": Range(10.0, 10.0, missing=True)}) == {0, -1}


@pytest.mark.parametrize(
    ("requires", "name", "others", "met"),
    [
        ("outlet_tds < low", "outlet_tds", {}, [10.0]),
        ("outlet_tds <= inlet_tds", "inlet_tds", {"outlet_tds": 7.0}, [7.0]),
        # |x - 100| = 10 at 90 and 110
        ("abs(inlet_tds - outlet_tds) <= low", "inlet_tds", {"outlet_tds": 100.0}, [90.0, 110.0]),
        # 2 x + 4 = 10 at 3
        ("2 * inlet_tds + outlet_tds < low", "inlet_tds", {"outlet_tds": 4.0}, [3.0]),
    ],
)
def test_boundaries_are_where_both_sides_are_equal(requires, name, others, met):
    tree = _rule("", requires).requires.verdict
    assert boundary(next(iter(comparisons(tree))), name, others) == met


def test_a_rule_that_holds_over_the_whole_range_of_its_fact_can_never_fail():
    # TDS is declared from 0 mg/L, so none is below.
    (problem,) = alone(rule("outlet_tds >= low", low="0 mg/L"))
    assert problem.message == "'one' can never fail"
    assert (problem.line, "- {outlet_tds: 0 mg/L}" in problem.help) == (11, True)


def test_a_rule_that_lies_beyond_the_range_of_its_fact_can_never_conform():
    # Water temperature is declared up to 100 degC.
    (problem,) = alone(rule("water_temperature > low", low="100 degC"))
    assert problem.message == "'one' can never conform"
    assert "does not conform:\n        - {water_temperature: 100 degC}" in problem.help


def test_a_rule_confined_to_what_conforms_anyway_can_never_fail():
    text = rule("outlet_tds < high", "outlet_tds < low", low="10 mg/L", high="0.02 g/L")
    assert [one.message for one in alone(text)] == ["'one' can never fail"]
    other = rule("outlet_tds < low", "outlet_tds < high", low="10 mg/L", high="0.02 g/L")
    assert alone(other) == []


def test_a_rule_that_asks_for_two_words_at_once_can_never_conform():
    text = rule('sampled == "flowing" and sampled == "standing"')
    assert [one.message for one in alone(text)] == ["'one' can never conform"]


def test_a_rule_is_not_blamed_where_reasoning_proves_nothing():
    assert alone(rule("inlet_tds - outlet_tds <= low", low="10 mg/L")) == []
    assert alone(rule("recorded(by)")) == []


GOOD = "conforms: [{{outlet_tds: {}}}], does_not_conform: [{{outlet_tds: {}}}]"


def below(name, limit):
    examples = GOOD.format(limit - 1, limit)
    return rule("outlet_tds < low", examples=examples, name=name, low=f"{limit} mg/L")


def above(name, limit):
    examples = GOOD.format(limit, limit - 1)
    return rule("outlet_tds >= low", examples=examples, name=name, low=f"{limit} mg/L")


def test_rules_that_no_subject_can_suit_both_contradict_each_other_across_editions():
    # Below 20 in one set; at least 20 in an edition of another, in force together from 1 May.
    found = wrong(
        ("house", "2026-01", "", below("low-enough", 20)),
        ("works", "2026-02", "", above("high-enough", 15)),
        ("works", "2026-05", "", above("high-enough", 20)),
    )
    (problem,) = found
    assert (problem.source, problem.line) == ("works.yaml", 11)
    assert problem.message == (
        "'high-enough' contradicts 'house/low-enough': nothing can conform to both, "
        "from 2026-05-01 on"
    )
    assert "- {outlet_tds: 19 mg/L}" in problem.help


def test_a_witness_of_a_contradiction_conforms_to_one_rule_only():
    read = editions(
        ("house", "2026-01", "", below("low-enough", 20)),
        ("works", "2026-05", "", above("high-enough", 20)),
    )
    one, other = (edition.rules[0] for edition in read)
    subject = {"outlet_tds": 19.0}
    assert (one.outcome_of_one(subject), other.outcome_of_one(subject)) == (1, 0)


def test_rules_that_are_never_in_force_together_do_not_contradict_each_other():
    assert wrong(
        ("house", "2026-01", ", until: 2026-04-30", below("low-enough", 20)),
        ("works", "2026-05", "", above("high-enough", 20)),
    ) == []  # fmt: skip


def test_one_value_that_suits_both_is_enough():
    closed = rule(
        "outlet_tds <= low",
        examples=GOOD.format(19, 21),
        name="low-enough",
        low="20 mg/L",
    )
    both = ("house", "2026-01", "", closed), ("works", "2026-01", "", above("high-enough", 20))
    assert wrong(*both) == []


def test_a_stricter_limit_is_neither_a_contradiction_nor_a_repetition():
    assert alone(below("early", 10) + below("late", 20)) == []


def test_rules_worded_differently_that_say_the_same_repeat_each_other():
    examples = GOOD.format(19, 20)
    other = rule("not outlet_tds >= low", examples=examples, name="two", low="0.020 g/L")
    (problem,) = alone(below("one", 20) + other)
    assert problem.message.startswith("'two' repeats 'house/one': both say the same")
    assert "does not conform to either:\n        - {outlet_tds: 20 mg/L}" in problem.help


def test_opposite_demands_for_what_is_recorded_contradict_each_other():
    examples = "conforms: [{source: S}], does_not_conform: [{}]"
    turned = "conforms: [{}], does_not_conform: [{source: S}]"
    found = alone(
        rule("recorded(source)", examples=examples, name="one")
        + rule("not recorded(source)", examples=turned, name="two")
    )
    assert [one.message for one in found] == [
        "'two' contradicts 'house/one': nothing can conform to both, from 2026-01-01 on"
    ]


def test_editions_end_when_the_next_begins_so_one_set_never_contradicts_its_past():
    read = editions(
        ("house", "2026-01", "", below("one", 20)), ("house", "2026-05", "", above("one", 20))
    )
    assert read[0].in_force_until == date(2026, 4, 30)
    assert [p for p in verify(read, CATALOGUE).wrong if "contradicts" in p.message] == []


@settings(deadline=None, max_examples=40)
@given(st.one_of(REQUIRES, st.just("")), REQUIRES)
def test_every_witness_can_be_pasted_and_does_what_it_is_shown_for(applies, requires):
    edition, facts = _edition(applies, requires), CATALOGUE.facts_of("reading")
    found = score(Original(edition.rules[0], facts, edition.document))
    assert found.unmet
    for unmet in found.unmet:
        listed = f"examples: {{{unmet.under}: [{unmet.line.removeprefix('- ')}]}}"
        text = _text(applies, requires).replace("examples: {conforms: []}", listed)
        (pasted,) = editions(("house", "2026-01", "", text))
        (subject,) = sound_examples(pasted.rules[0], facts)
        outcome = pasted.rules[0].outcome_of_one(subject)
        assert outcome == LISTED_UNDER[unmet.under]
        assert unmet.demand.is_met_by(subject, outcome)


@pytest.mark.parametrize(
    "requires",
    [
        "recorded(affected) and outlet_tds < low",
        "outlet_tds * 8 < low",
        "low / outlet_tds > 3 / inlet_tds",
    ],
)
def test_odd_facts_and_numbers_beyond_reckoning_are_no_hindrance(requires):
    lists = FactGroup(("reading",), (Fact("affected", "records", "for messages"),), _none)
    catalogue = Catalogue.of((*ENGINE_FACTS, lists))
    text = HEAD.format(name="house", edition="2026-01", until="")
    # The next step of 1e308 is beyond what a computer can reckon with.
    text += rule(requires, low="1e308 mg/L" if "recorded" not in requires else "10 mg/L")
    if "/" in requires:
        text = text.replace("mg/L", "")
    read = read_rule_sets([("house.yaml", text.encode())], catalogue)
    facts = catalogue.facts_of("reading")
    found = score(Original(read[0].rules[0], facts, read[0].document))
    assert found.mutants > found.noticed


def _none(subjects, past):
    return subjects
