"""Which limit ends a charge, from rules as they are written."""

from datetime import date

import pytest

from qa_engine.facts import ENGINE_FACTS
from qa_engine.facts.catalogue import Catalogue
from qa_engine.forecast.limits import ending_limits, lowest
from qa_engine.rulesets import read_rule_sets

CATALOGUE = Catalogue.of(ENGINE_FACTS)

RULE = """
  - rule: {name}
    title: Outlet below a limit
    subject: {subject}
    applies_if: {applies}
    requires: {requires}
    limits: {{top: {{is: {limit}, basis: invented{by}}}}}
    grading: minor
    {settled}
    says: Too much.
    correction: Change the resin.
    examples:
      conforms: [{{}}]
"""
HEAD = """
rule_set: house
title: House
edition: "{edition}"
in_force: {{from: {first}}}
owner: standards lead
rules:
"""


def rule(name="a", limit="20 mg/L", **more):
    parts = {
        "subject": "reading",
        "applies": 'sampled == "flowing"',
        "requires": "outlet_tds < top",
        "settled": "settled_by: resin_change",
        "by": "",
    }
    return RULE.format(name=name, limit=limit, **(parts | more))


def edition(*rules, name="1", first="2026-01-01"):
    return HEAD.format(edition=name, first=first) + "".join(rules)


def limit(*texts, on=date(2026, 6, 1), **reading):
    files = [(f"{n}.yaml", text.encode()) for n, text in enumerate(texts)]
    limits = ending_limits(read_rule_sets(files, CATALOGUE), on)
    found = lowest(limits, {"sampled": "flowing", **reading})
    return found and (found[0], found[1].rule)


def test_it_is_the_lowest_limit_that_a_resin_change_settles():
    warning = rule("warning", "10 mg/L", settled="")
    rules = (rule("stop", "30 mg/L"), rule("house", "20 mg/L"), warning)
    assert limit(edition(*rules)) == (20.0, "house")


def test_the_edition_in_force_on_the_day_counts():
    texts = (edition(rule()), edition(rule(limit="12 mg/L"), name="2", first="2026-06-02"))
    assert limit(*texts, on=date(2026, 6, 1)) == (20.0, "a")
    assert limit(*texts, on=date(2026, 6, 2)) == (12.0, "a")
    assert limit(*texts, on=date(2025, 12, 31)) is None


def test_a_rule_that_does_not_apply_does_not_count_and_one_that_may_does():
    applies = 'sampled == "flowing" and not softening_bed'
    text = edition(rule(applies=applies))
    assert limit(text, softening_bed=True) is None
    assert limit(text, softening_bed=False) == (20.0, "a")
    assert limit(text) == (20.0, "a")


def test_a_limit_may_hang_on_the_grade():
    by = ", by: grade"
    text = edition(rule(limit='{"pale": 15 mg/L, "dark": 25 mg/L}', by=by))
    assert limit(text, grade="dark") == (25.0, "a")
    assert limit(text, grade="green") is None


@pytest.mark.parametrize(
    ("requires", "limit_as_written", "found"),
    [
        ("outlet_tds <= top", "20 mg/L", 20.0),
        ("top > outlet_as_tds", "20 mg/L", 20.0),
        ("outlet_tds < top", "0.02 g/L", 20.0),
        ("recorded(meter) and outlet_tds < top", "20 mg/L", 20.0),
        ("outlet_tds > top", "20 mg/L", None),
        ("recorded(meter) or outlet_tds < top", "20 mg/L", None),
        ("not outlet_tds < top", "20 mg/L", None),
        ("inlet_tds < top", "20 mg/L", None),
    ],
)
def test_only_an_upper_limit_on_the_outlet_that_must_hold_counts(requires, limit_as_written, found):
    told = limit(edition(rule(requires=requires, limit=limit_as_written)))
    assert (told and told[0]) == (found and pytest.approx(found))


def test_rules_about_other_subjects_do_not_count():
    other = rule(subject="rinse", applies="not softening_bed", requires="last_outlet_tds < top")
    assert limit(edition(other)) is None


def test_the_limit_of_a_guarded_rule_is_that_as_written():
    guarded = rule() + "    decision: {acceptance: guarded, confidence: 95 %}\n"
    assert limit(edition(guarded)) == (20.0, "a")
