"""A permissions file as an operator writes it, and what is said about one that is wrong."""

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qa_engine.errors import PermissionsError
from qa_engine.facts import ENGINE_FACTS
from qa_engine.facts.catalogue import Catalogue
from qa_engine.permissions import read_permissions
from qa_engine.rulesets import read_rule_sets

RULES = b"""
rule_set: house
title: House
edition: 2026-01
in_force: {from: 2020-01-01}
owner: standards lead
rules:
  - rule: outlet-below-house-limit
    title: Outlet below the house limit
    subject: reading
    requires: outlet_tds < house_limit
    limits: {house_limit: {is: 20 mg/L, basis: common practice}}
    grading: minor
    says: Outlet read {outlet_tds}.
    correction: Change the resin.
    examples:
      conforms: [{outlet_tds: 19 mg/L}]
      does_not_conform: [{outlet_tds: 20 mg/L}]
      undecided: [{}]
"""

GOOD = """\
longest: 30 days
permissions:
  - permission: DP-1
    type: deviation permit
    rule: house/outlet-below-house-limit
    scope: {van: Quill, tank: T-1}
    reason: The new resin arrives on Friday.
    requested_by: P-07
    approved_by: P-01
    requested_on: 2026-05-03
    approved_on: 2026-05-04
    from: 2026-05-04
    until: 2026-05-08T18:00:00+01:00
"""


@pytest.fixture(scope="module")
def editions():
    return read_rule_sets([("house.yaml", RULES)], Catalogue.of(ENGINE_FACTS))


def read(text, editions):
    return read_permissions("p.yaml", text.encode(), ZoneInfo("Europe/London"), editions)


def problems(text, editions):
    """Return what is wrong with a file: line, column, message and help of each problem."""
    with pytest.raises(PermissionsError) as caught:
        read(text, editions)
    return [(p.line, p.column, p.message, p.help) for p in caught.value.problems]


def test_a_permission_is_what_was_written(editions):
    permissions = read(GOOD, editions)
    (one,) = permissions.listed
    assert (one.permission, one.type, one.about) == (
        "DP-1", "deviation permit", "house/outlet-below-house-limit",
    )  # fmt: skip
    assert (one.van, one.tank, one.reason) == ("Quill", "T-1", "The new resin arrives on Friday.")
    assert (one.requested_by, one.approved_by) == ("P-07", "P-01")
    assert (one.requested_on, one.approved_on) == (date(2026, 5, 3), date(2026, 5, 4))
    assert (one.begins, one.until) == (date(2026, 5, 4), datetime(2026, 5, 8, 17, tzinfo=UTC))
    assert (permissions.longest_d, one.longest_d, one.line) == (30, 30, 3)
    assert one.sha256 == permissions.sha256 != ""


def test_a_whole_rule_set_and_no_scope_may_be_permitted_for_90_days_at_most(editions):
    text = GOOD.replace("longest: 30 days\n", "").replace(
        "    scope: {van: Quill, tank: T-1}\n", ""
    )
    (one,) = read(text.replace(ABOUT, "    rule_set: house\n"), editions).listed
    assert (one.rule_set, one.rule, one.van, one.tank) == ("house", None, None, None)
    assert one.longest_d == 90


def test_a_rule_set_that_does_not_judge_here_is_no_mistake(editions):
    (one,) = read(GOOD.replace("rule: house/", "rule: elsewhere/"), editions).listed
    assert one.rule_set == "elsewhere"


def test_no_permissions_at_all_may_be_written(editions):
    assert read("permissions: []", editions).listed == ()


ABOUT = "    rule: house/outlet-below-house-limit\n"
MISTAKES = [
    ("DP-1", "", "3:16: 'permission' has no value", "write one"),
    ("deviation permit", "waver", "4:11: 'type': 'waver' is not known", "concession, deviation"),
    ("limit\n", "limt\n", "5:11: 'house' has no rule 'outlet-below-house-limt'", "did you mean"),
    ("house/outlet-below-house-limit", "house", "5:11: 'house' does not name a rule", "slash"),
    (ABOUT, "    rule_set:\n", "5:14: 'rule_set' has no value", "write one"),
    (ABOUT, "", "3:5: it is not said what is permitted", "rule: set/rule"),
    (ABOUT, ABOUT + "    rule_set: house\n", "6:15: both a rule and a rule set", "keep one"),
    ("T-1}", "}", "6:31: 'tank' has no value", "leave the key out"),
    ("tank: T-1}", "tnak: T-1}", "6:25: 'tnak' is not a key of 'scope'", "did you mean 'tank'?"),
    ("{van: Quill, tank: T-1}", "Quill", "6:12: 'scope': keys and values are expected", ""),
    ("    reason", "    raeson", "7:5: 'raeson' is not a key of a permission", "mean 'reason'?"),
    ("    approved_by: P-01\n", "", "3:5: a permission lacks 'approved_by'", "an id of"),
    ("d_on: 2026-05-04", "d_on: 2026-05-02", "11:18: it was approved before it was", "05-03"),
    ("from: 2026-05-04", "from: 2026-5-4", "12:11: 'from': '2026-5-4' is not a time", "YYYY"),
    ("from: 2026-05-04", "from: 2026-02-30", "12:11: 'from': '2026-02-30' is not a day", "YYYY"),
    ("18:00:00+01:00", "18:00", "13:12: 'until': '2026-05-08T18:00' has no offset", "offset"),
    ("2026-05-08T18:00:00+01:00", "2026-05-03", "13:12: it ends before it begins", "2026-05-04"),
    ("30 days", "30 kPa", "1:10: 'longest': '30 kPa' has a wrong unit", "number in d"),
    ("30 days", "0", "1:10: 'longest': '0' lies below 1", "from 1 to"),
    ("longest", "logest", "1:1: 'logest' is not a key of a permissions file", "mean 'longest'?"),
]


@pytest.mark.parametrize(("written", "instead", "told", "help"), MISTAKES)
def test_each_mistake_is_told_once_with_its_place(editions, written, instead, told, help):
    assert written in GOOD
    ((line, column, message, hint),) = problems(GOOD.replace(written, instead, 1), editions)
    assert f"{line}:{column}: {message}".startswith(told)
    assert help in hint


def test_an_end_at_the_very_instant_of_the_beginning_is_a_permission_for_that_instant(editions):
    same = GOOD.replace("from: 2026-05-04", "from: 2026-05-08T17:00:00Z")
    assert len(read(same, editions).listed) == 1


def test_all_mistakes_are_told_at_once_in_the_order_of_the_file(editions):
    second = GOOD.split("permissions:\n")[1].replace("reason", "raeson").replace("P-07", "")
    found = problems(GOOD.replace("scope", "scoop") + second, editions)
    assert [line for line, *_ in found] == [6, 14, 18, 19]
    assert "there are two permissions 'DP-1'" in found[1][2]
    assert "line 3" in found[1][3]


NONE_SUCH = ["", "[a]", "3", "permissions: 3", "permissions:", "permissions: [3, ~]", "a: *b"]


@pytest.mark.parametrize("text", NONE_SUCH)
def test_what_is_no_permissions_file_is_refused(editions, text):
    assert problems(text, editions)


LINES = [*GOOD.split("\n"), "  - permission: DP-2", "    scope: {}", "- ", "  x: *a", "{", "\t"]


@settings(deadline=None, max_examples=150)
@given(st.lists(st.sampled_from(LINES), max_size=18))
def test_no_file_is_met_with_any_other_error(editions, lines):
    try:
        listed = read("\n".join(lines), editions).listed
    except PermissionsError as error:
        listed = error.problems
    assert isinstance(listed, tuple)
