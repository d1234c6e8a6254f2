"""Limits finer than what the meters in the register show."""

from zoneinfo import ZoneInfo

from qa_engine.facts import ENGINE_FACTS
from qa_engine.facts.catalogue import Catalogue
from qa_engine.proof import too_fine
from qa_engine.register import TABLES, Register
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
    subject: reading
    requires: {requires}
    limits: {{limit: {limit}}}
    grading: minor
    says: Something is wrong.
    correction: Put it right.
    examples: {{conforms: []}}
"""


def notes(requires, limit, *meters):
    text = FILE.format(requires=requires, limit=f"{{is: {limit}, basis: house}}")
    editions = read_rule_sets([("house.yaml", text.encode())], CATALOGUE)
    frame = TABLES["meters"].frame([dict(m) for m in meters], ZoneInfo("UTC"))
    register = Register("Fleet of the tests", ZoneInfo("UTC"), {"meters": frame})
    return [one.message for one in too_fine(editions, CATALOGUE, register)]


WHOLE = {"meter": "M-1", "resolution": 1.0, "factor": 0.5}
FINE = {"meter": "M-2", "resolution": 0.1, "factor": 0.5}


def test_a_limit_between_two_steps_of_a_display_is_named_with_the_coarsest_meter():
    assert notes("outlet_tds < limit", "19.5 mg/L", FINE, WHOLE) == [
        "the limit 'limit', 19.5 mg/L, is finer than meter M-1, which shows 'outlet_tds' in steps "
        "of 1 mg/L"
    ]


def test_a_limit_on_a_step_is_fine_however_it_is_written():
    assert notes("outlet_tds < limit", "19.0 mg/L", WHOLE) == []
    assert notes("outlet_tds < limit", "0.019 g/L", WHOLE) == []
    assert notes("outlet_tds < limit", "19.5 mg/L", FINE) == []


def test_conductivity_is_shown_in_steps_of_the_resolution_over_the_factor():
    # 1 mg/L over 0.5 mg/L per uS/cm is 2 uS/cm.
    assert len(notes("outlet_conductivity < limit", "41 uS/cm", WHOLE)) == 1
    assert notes("outlet_conductivity < limit", "42 uS/cm", WHOLE) == []


def test_nothing_is_said_of_what_no_meter_shows_or_of_meters_without_a_resolution():
    assert notes("used_fraction < limit", "0.85", WHOLE) == []
    assert notes("outlet_tds < limit", "19.5 mg/L", {"meter": "M-3"}) == []
    assert notes("outlet_conductivity < limit", "41 uS/cm", {**WHOLE, "factor": None}) == []


def test_a_limit_per_word_is_looked_at_word_by_word():
    limit = "{lead: 9 mg/L, polish: 0.5 mg/L}, by: position"
    (note,) = notes("outlet_tds < limit", limit, WHOLE)
    assert "0.5 mg/L" in note
