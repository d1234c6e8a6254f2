"""Notes on editions: gaps, ends that do not count, sets that ended, and starts in the past."""

from datetime import date

import pytest

from qa_engine.facts import ENGINE_FACTS
from qa_engine.facts.catalogue import Catalogue
from qa_engine.rulesets import read_rule_sets
from qa_engine.rulesets.editions_in_time import edition_notes

RULES = """
owner: standards lead
rules:
  - rule: tank-named
    title: A reading names its van
    subject: reading
    requires: recorded(van)
    grading: advice
    says: No van.
    correction: Name the van.
    examples:
      conforms: [{van: Quill}]
      does_not_conform: [{}]
"""

TODAY = date(2026, 6, 1)


def read(*editions):
    """Return editions given as (rule set, name, first day, stated last day or None)."""
    sources = []
    for rule_set, name, begins, until in editions:
        ends = f", until: {until}" if until else ""
        head = (
            f"rule_set: {rule_set}\ntitle: T\nedition: {name}\nin_force: {{from: {begins}{ends}}}"
        )
        sources.append((f"{rule_set}-{name}.yaml", (head + RULES).encode()))
    return read_rule_sets(sources, Catalogue.of(ENGINE_FACTS))


def notes(*editions, today=TODAY):
    return edition_notes(read(*editions), today)


def test_days_between_two_editions_that_none_governs_are_told_from_first_to_last():
    """Ends on 31 March, the next begins on 3 April: 1 and 2 April."""
    found = notes(("house", "a", "2026-01-01", "2026-03-31"), ("house", "b", "2026-04-03", None))
    assert found[0] == (
        "No edition of 'house' is in force from 2026-04-01 to 2026-04-02, between 'house a' and "
        "'house b'; nothing is judged then."
    )


@pytest.mark.parametrize("until", [None, "2026-03-31"])
def test_editions_that_follow_day_on_day_have_neither_gap_nor_overlap(until):
    found = notes(("house", "a", "2026-01-01", until), ("house", "b", "2026-04-01", None))
    assert len(found) == 1
    assert found[0].startswith("In force since before today: house b on 2026-04-01.")


def test_an_end_stated_after_the_next_edition_begins_does_not_count_and_is_told():
    found = notes(("house", "a", "2026-01-01", "2026-04-01"), ("house", "b", "2026-04-01", None))
    assert found[0] == (
        "'house a' says it is in force until 2026-04-01, but 'house b' takes over on 2026-04-01; "
        "from that day on only 'house b' judges."
    )


def test_a_set_whose_last_edition_ended_yesterday_judges_nothing_and_today_it_still_does():
    ended = notes(("house", "a", "2026-01-01", "2026-05-31"))
    assert ended == (
        "'house a' ended on 2026-05-31 and no edition follows; since then nothing is judged by "
        "'house'.",
    )
    (last_day,) = notes(("house", "a", "2026-01-01", "2026-06-01"))
    assert last_day.startswith("In force since before today: house a on 2026-01-01.")


def test_an_edition_that_begins_today_or_later_turns_nothing_that_was_judged():
    assert notes(("house", "a", "2026-06-01", None), ("other", "a", "2026-07-01", None)) == ()


def test_of_several_sets_each_is_looked_at_alone_and_those_begun_are_one_note():
    found = notes(
        ("a", "1", "2026-01-01", "2026-02-01"),
        ("b", "1", "2026-03-01", None),
        ("c", "1", "2026-04-01", None),
        ("c", "2", "2026-09-01", None),
    )
    assert len(found) == 2
    assert found[0].startswith("'a 1' ended on 2026-02-01")
    assert "b 1 on 2026-03-01, c 1 on 2026-04-01." in found[1]
    assert "rules compare" in found[1]
