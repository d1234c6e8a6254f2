"""The key ``settled_by``: which kind of record logs the work that settles a failure."""

import pytest

from qa_engine.errors import RuleSetError
from qa_engine.facts import ENGINE_FACTS
from qa_engine.facts.catalogue import Catalogue
from qa_engine.rulesets import read_rule_sets

RULE = """\
rule_set: house
title: House
edition: 2026-01
in_force: {{from: 2026-01-01}}
owner: standards lead
rules:
  - rule: on-record
    title: Something is on record
    subject: {subject}
    requires: {requires}
    grading: advice
    says: Not on record.
    correction: Do it.{key}
    examples:
      undecided: [{{}}]
"""


KNOWN = {"tank": "tank_known", "van": "recorded(last_record_age)"}


def read(subject, settled_by):
    key = f"\n    settled_by: {settled_by}" if settled_by else ""
    text = RULE.format(subject=subject, key=key, requires=KNOWN.get(subject, "recorded(van)"))
    (edition,) = read_rule_sets([("house.yaml", text.encode())], Catalogue.of(ENGINE_FACTS))
    return edition.rules[0]


@pytest.mark.parametrize(
    ("subject", "settled_by"),
    [
        ("reading", None),
        ("reading", "resin_change"),
        ("reading", "meter_check"),
        ("complaint", "reading"),
        ("tank", "out_of_use"),
    ],
)
def test_a_rule_keeps_the_kind_of_record_that_settles_it(subject, settled_by):
    assert read(subject, settled_by).settled_by == settled_by


def test_what_is_no_kind_of_record_is_refused_with_the_nearest_one():
    with pytest.raises(RuleSetError, match=r"house\.yaml:14:17.*\n(.*\n)*.*'resin_change'"):
        read("reading", "resin_chang")


@pytest.mark.parametrize(("subject", "settled_by"), [("tank", "meter_check"), ("van", "reading")])
def test_work_on_a_thing_that_the_subject_does_not_have_is_refused(subject, settled_by):
    with pytest.raises(RuleSetError, match=f"no {settled_by} can settle a rule about a {subject}"):
        read(subject, settled_by)


WHERE = """
    settled_by:
      kind: vessel_service
      where: {where}{until}"""
UNTIL = "\n    stands_until: settling record"


def read_where(where, until=UNTIL):
    key = WHERE.format(where=where, until=until)
    text = RULE.format(subject="rinse", key=key, requires="recorded(van)")
    (edition,) = read_rule_sets([("house.yaml", text.encode())], Catalogue.of(ENGINE_FACTS))
    return edition.rules[0]


def test_what_a_settling_record_must_state_is_a_condition_on_its_own_fields():
    rule = read_where('result == "fit" and recorded(competent_person)')
    assert rule.settled_by == "vessel_service"
    assert rule.settled_where.of_one({"result": "fit", "competent_person": "CP-1"}) is True
    assert rule.settled_where.of_one({"result": "fit"}) is False
    assert read("reading", "resin_change").settled_where is None


@pytest.mark.parametrize(
    ("where", "said"),
    [
        ('result == "fitt"', r"house\.yaml:16:\d+.*\n(.*\n)*.*'fit'"),
        ("van_known and recorded(result)", "'van_known' is"),
        ("used_fraction < 1", "'used_fraction' is"),
        ("1 < 2", "names no fact"),
        ("result", "result"),
    ],
)
def test_a_condition_on_anything_else_is_refused_at_its_place(where, said):
    with pytest.raises(RuleSetError, match=said):
        read_where(where)


def test_what_it_must_state_is_of_no_use_where_any_good_verdict_closes():
    with pytest.raises(RuleSetError, match="only where a failure stands until it"):
        read_where("recorded(result)", until="")


def test_a_mapping_needs_a_kind_and_knows_no_other_key():
    for key, said in (("{where: replaced}", "lacks 'kind'"), ("{kid: x}", "'kid' is not a key of")):
        with pytest.raises(RuleSetError, match=said):
            read("reading", key)
