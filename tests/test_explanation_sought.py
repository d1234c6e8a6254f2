"""Every fact says what it is made of, so that it can be said what was looked for."""

import pytest

from qa_engine.explanation.sought import EACH, MODEL
from qa_engine.facts import ENGINE_FACTS
from qa_engine.facts.catalogue import Catalogue
from qa_engine.facts.fact import SUBJECTS
from qa_engine.plugins import rule_of_thumb
from qa_engine.records import KINDS
from qa_engine.register import TABLES

CATALOGUE = Catalogue.of((*ENGINE_FACTS, *rule_of_thumb.qa_facts()))
FACTS = [
    pytest.param(subject, fact, id=f"{subject}-{name}")
    for subject in SUBJECTS
    for name, fact in CATALOGUE.facts_of(subject).items()
]
NAMES = {name for subject in SUBJECTS for name in CATALOGUE.facts_of(subject)}
ANY_RECORD = {"working_days_silent", "last_record_age", "entered_after"}
"""Facts made of records of any kind, or of how they came in; their meaning says it."""


@pytest.mark.parametrize(("subject", "fact"), FACTS)
def test_a_fact_that_can_be_missing_says_what_it_is_made_of(subject, fact):
    assert fact.looks_at or fact.absent == "no" or fact.name in ANY_RECORD


@pytest.mark.parametrize(("subject", "fact"), FACTS)
def test_what_a_fact_is_made_of_exists(subject, fact):
    for entry in fact.looks_at:
        if entry == MODEL:
            continue
        where, *filters = entry.removeprefix(EACH).split(" ") if "." in entry else (entry,)
        if "." not in where:
            assert where in NAMES
            assert where != fact.name
            continue
        holder, name = where.split(".")
        if entry.startswith(EACH):
            assert name in CATALOGUE.facts_of(holder)
        elif holder in TABLES:
            assert name in TABLES[holder].fields
        else:
            assert name in KINDS[holder].fields
            assert all(one.partition("=")[0] in KINDS[holder].fields for one in filters)
