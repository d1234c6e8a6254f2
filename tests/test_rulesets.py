"""Rule files: what is read from them, and what is said about what cannot be."""

import hashlib
from datetime import date, timedelta

import pytest

from qa_engine.conditions import Condition
from qa_engine.errors import RuleSetError
from qa_engine.facts import Fact, FactGroup
from qa_engine.facts.catalogue import Catalogue
from qa_engine.rulesets import cut, read_rule_sets


def found_nowhere(subjects, past):
    raise AssertionError("reading rules asks no facts")


CATALOGUE = Catalogue.of(
    [
        FactGroup(
            ("resin_change",),
            (Fact("lubrication_logged", "yes/no", "", absent="no"),),
            found_nowhere,
            looks_ahead=True,
        ),
        FactGroup(
            ("tank", "reading"),
            (Fact("charge_age", "number", "", "d"), Fact("grade", "words", "")),
            found_nowhere,
        ),
        FactGroup(("van",), (Fact("last_record_age", "number", "", "d"),), found_nowhere),
    ]
)

HEAD = """\
rule_set: rinse-water
title: Rinse water
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
      house_limit: {is: 20 mg/L, basis: common practice, review_by: 2027-04-01}
    grading: minor
    says: Outlet water read {outlet_tds} after {charge_age}; the limit is {house_limit}.
    correction: Finish this vehicle, then change the resin.
    examples:
      conforms: [{outlet_tds: 19.9 mg/L, sampled: flowing}]
      does_not_conform: [{outlet_tds: 20 mg/L, sampled: flowing}]
      undecided: [{sampled: flowing}]
      not_applicable: [{outlet_tds: 35 mg/L, sampled: first flush}]
"""


def read(*texts, **kw):
    sources = [(f"rules/{at}.yaml", text.encode()) for at, text in enumerate(texts, start=1)]
    return read_rule_sets(sources, CATALOGUE, **kw)


def problems(*texts):
    with pytest.raises(RuleSetError) as raised:
        read(*texts)
    return raised.value.problems


def only_problem(*changes, head=HEAD, rule=RULE):
    """Return the message, line of source and help of the one problem that changes make."""
    text = head + rule
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    (problem,) = problems(text)
    return problem.message, text.splitlines()[problem.line - 1][problem.column - 1 :], problem.help


def one_rule(*changes, rule=RULE):
    text = HEAD + rule
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    return read(text)[0].rules[0]


def test_a_rule_is_read_as_written():
    (edition,) = read(HEAD + RULE)
    (rule,) = edition.rules
    assert (edition.rule_set, edition.edition, edition.owner) == (
        "rinse-water",
        "2026-04",
        "standards lead",
    )
    assert (edition.in_force_from, edition.in_force_until) == (date(2026, 4, 1), None)
    assert edition.sha256 == hashlib.sha256((HEAD + RULE).encode()).hexdigest()
    assert (rule.rule, rule.subject, rule.grading) == (
        "outlet-below-house-limit",
        "reading",
        "minor",
    )
    assert isinstance(rule.requires, Condition)
    assert rule.limits["house_limit"].values == 20.0
    assert rule.limits["house_limit"].unit.name == "mg/L"
    assert rule.limits["house_limit"].review_by == date(2027, 4, 1)
    assert rule.needs == ("sampled", "outlet_tds")
    assert rule.told == ("charge_age",)
    assert (rule.caution, rule.within, rule.affects, rule.permission) == (
        None,
        None,
        None,
        "by request",
    )
    assert (rule.source, rule.line) == ("rules/1.yaml", 7)


MISSPELT_AND_MORE = """\
rule_set: rinse-water
title: Rinse water
edition: 2026-04
in_force: {from: 2026-04-01}
owner: standards lead
rules:
  - rule: outlet-below-house-limit
    title: Outlet water stays below the house limit
    subject: reading
    applys_if: sampled == "flowing"
    requires: outlet_tsd < house_limit
    limits:
      house_limit: {is: 20 mg/L, basis: &basis common practice}
    grading: minor
    says: Outlet water read {outlet_tds}.
    correction: Finish this vehicle, then change the resin.
    correction: Or not.
    examples:
      conforms: [{outlet_tds: 19.9 mg/L}]
      does_not_conform: [{outlet_tds: 20 mg/L}]
  - rule: pressure-while-flowing
    title: Pressure while flowing stays below the limit
    subject: rinse
    requires: inlet_pressure <= most
    limits:
      most: {is: 20 mg/L, basis: *basis}
    grading: major
    says: Pressure read {inlet_pressure}.
    correction: Throttle the supply.
    examples: {conforms: {inlet_pressure: 1 bar}}
"""


def test_five_mistakes_are_five_problems_with_place_and_help_in_one_go():
    found = problems(MISSPELT_AND_MORE)
    assert [(p.source, p.line, p.column, p.message, p.help) for p in found] == [
        ("rules/1.yaml", 10, 5, "'applys_if' is not a key of a rule", "did you mean 'applies_if'?"),
        (
            "rules/1.yaml",
            11,
            15,
            "'outlet_tsd' is neither a fact of a reading nor a limit of this rule",
            "did you mean 'outlet_tds'?",
        ),
        (
            "rules/1.yaml",
            17,
            5,
            "the key 'correction' is written twice in one mapping",
            "first written at line 16, column 5; keep one of them",
        ),
        (
            "rules/1.yaml",
            24,
            33,
            "'inlet_pressure' is a number in kPa and 'most' is a limit in mg/L; "
            "they cannot be compared",
            "what goes with kPa is: kPa, bar, psi",
        ),
        (
            "rules/1.yaml",
            26,
            34,
            "the alias '*basis' is not taken; its anchor stands on line 13",
            "write the values out where they belong",
        ),
    ]
    assert str(found[1]).splitlines()[1:3] == [
        "   11 |     requires: outlet_tsd < house_limit",
        "      |               ^^^^^^^^^^",
    ]


def test_problems_of_all_files_are_told_together():
    broken = (HEAD + RULE).replace("minor", "minr")
    found = problems(broken, "rule_set: [", HEAD + RULE)
    assert [problem.source for problem in found] == ["rules/1.yaml", "rules/2.yaml"]


@pytest.mark.parametrize(
    ("changes", "message", "at", "help"),
    [
        ([("    grading: minor\n", "")], "a rule lacks 'grading'", "rule: outlet", "add 'grad"),
        ([("grading: minor", "gradng: minor")], "'gradng' is not a key of a rule", "gradng",
         "did you mean 'grading'?"),
        ([("grading: minor", "grading: minr")], "'grading': 'minr'", "minr",
         "did you mean 'minor'? it is one of: major, minor, advice"),
        ([("grading: minor", "grading:")], "'grading' has no value", "", "write one"),
        ([("subject: reading", "subject: raeding")], "'subject': 'raeding'",
         "raeding", "did you mean 'reading'? it is one of: reading"),
        ([("from: 2026-04-01", "from: 2026-04-31")], "'from': '2026-04-31' is not a day",
         "2026-04-31", "a day is written 2026-04-01"),
        ([("{from: 2026-04-01}", "{from: 2026-04-01, until: 2026-03-31}")],
         "the edition ends on 2026-03-31, before it begins", "2026-03-31", ""),
        ([("owner: standards lead\n", "")], "a rule set lacks 'owner'", "rule_set:", "add"),
        ([("rule_set: rinse-water", "rule_set: Rinse water")], "'rule_set': 'Rinse water' cannot",
         "Rinse water", "expected small letters"),
        ([(", basis: common practice", "")], "a limit lacks 'basis'", "{is: 20", "add 'basis:'"),
        ([("is: 20 mg/L", "is: 20 mgl")], "the limit 'house_limit' cannot be taken: 'mgl' is not a",
         "20 mgl", ""),
        ([("is: 20 mg/L", "is: about 20")], "the limit 'house_limit' cannot be taken", "about", ""),
        ([("house_limit", "outlet_tds")], "the limit 'outlet_tds' has the name of a fact",
         "outlet_tds: {is", "name it otherwise"),
        ([("house_limit", "max")], "'max' cannot be the name of a limit", "max: {is", "take"),
        ([("{outlet_tds} after", "{outlet_tsd} after")], "'outlet_tsd' is neither a fact of this",
         "{outlet_tsd}", "did you mean 'outlet_tds'?"),
        ([("{outlet_tds} after", "{outlet_tds:.1f} after")], "'{outlet_tds:.1f}' is not a place",
         "{outlet_tds:.1f}", "a placeholder is a name in braces"),
        ([("{outlet_tds} after", "{outlet_tds.real} after")], "'{outlet_tds.real}'", "{", ""),
        ([("{outlet_tds} after", "{0} after")], "'{0}' is not a placeholder", "{0}", ""),
        ([("{outlet_tds} after", "{} after")], "'{}' is not a placeholder", "{}", ""),
        ([("{outlet_tds} after", "{outlet_tds after")], "'{' is not a placeholder", "{outlet", ""),
        ([("{outlet_tds} after", "{affected} after")], "'{affected}' has no meaning", "{affected}",
         "add 'affects:'"),
        ([("    examples:", "    within: 30 foxes\n    examples:")],
         "'30 foxes' is not a time that can be given", "30 foxes", "a time is written 30 days"),
        ([("    examples:", "    within: 30 kPa\n    examples:")],
         "'30 kPa' is not a time that can be given: kPa and s do not", "30 kPa", "a time is"),
        ([("    examples:", "    within: -1 d\n    examples:")],
         "'-1 d' is not a time that can be given", "-1 d", "a time is written"),
        ([("    examples:", "    within: 1e300 d\n    examples:")],
         "'1e300 d' is not a time that can be given", "1e300 d", "a time is written"),
        ([("    examples:", "    decision: {acceptance: guarded}\n    examples:")],
         "guarded acceptance needs to know how sure is sure enough", "guarded", "add a confidence"),
        ([("    examples:", "    permission: sometimes\n    examples:")],
         "'permission': 'sometimes'", "sometimes", "it is one of: by request, never"),
        ([("sampled: flowing}]\n      does", "sampled: [flowing]}]\n      does")],
         "'sampled': a text or number is expected here", "[flowing]", ""),
        ([("requires: outlet_tds < house_limit", "requires: [outlet_tds]")],
         "'requires': a text is expected here", "[outlet_tds]", ""),
        ([("      house_limit: {", "      house_limit: 20 mg/L #")],
         "'house_limit': keys and values are expected here", "20 mg/L", ""),
        ([("      house_limit: {", "      spare: {is: 1 bar, basis: none}\n      house_limit: {")],
         "no condition of this rule names the limit 'spare'", "spare: {", "use it or leave it out"),
    ],
)  # fmt: skip
def test_a_mistake_is_one_problem_at_its_place(changes, message, at, help):
    found, where, would_do = only_problem(*changes)
    assert found.startswith(message)
    assert where.startswith(at)
    assert would_do.startswith(help)


def test_two_rules_of_one_name_are_refused():
    message, where, help = only_problem(rule=RULE + RULE)
    assert message == "there are two rules 'outlet-below-house-limit'"
    assert where == "outlet-below-house-limit"
    assert help.startswith("the other one stands on line 7")


def test_a_file_without_rules_is_refused():
    assert problems(HEAD + "  []\n")[0].message == "there is no rule in the list"
    assert problems(HEAD)[0].message == "'rules' has no value"
    assert problems("")[0].message == "keys and values are expected here"


def test_a_rule_about_what_follows_needs_a_time():
    rule = """\
  - rule: lubrication-logged
    title: Seals are lubricated
    subject: resin_change
    requires: lubrication_logged
    grading: minor
    says: No lubrication was logged.
    correction: Look whether it was done.
    within: 12 h
    examples: {conforms: {lubrication_logged: yes}, does_not_conform: {lubrication_logged: no}}
"""
    assert one_rule(rule=rule).within == timedelta(hours=12)
    message, where, help = only_problem(("    within: 12 h\n", ""), rule=rule)
    assert (
        message == "'lubrication_logged' looks at what follows, and the rule gives no time for it"
    )
    assert where == "lubrication_logged"
    assert help.startswith("add 'within:'")


@pytest.mark.parametrize(
    ("written", "given"),
    [
        ("30 days", timedelta(days=30)),
        ("90 min", timedelta(minutes=90)),
        ("1.5 h", timedelta(minutes=90)),
    ],
)
def test_times_are_written_with_their_unit(written, given):
    changed = ("    examples:", f"    within: {written}\n    examples:")
    assert one_rule(changed).within == given


def test_within_is_for_what_is_logged_at_an_instant():
    rule = RULE.replace("reading", "tank").replace('sampled == "flowing"', 'grade == "mixed"')
    rule = rule.replace("outlet_tds", "charge_age").replace("20 mg/L", "20 days")
    assert one_rule(rule=rule).needs == ("grade", "charge_age")
    changed = ("    examples:", "    within: 30 days\n    examples:")
    assert only_problem(changed, rule=rule)[0] == "a rule about a tank cannot have 'within'"


def test_affects_is_for_tanks_and_meters():
    added = ("    examples:", "    affects: rinse\n    examples:")
    told = ("{outlet_tds} after", "{affected} after")
    assert one_rule(added, told).affects == "rinse"
    rule = """\
  - rule: van-not-silent
    title: The van logs
    subject: van
    requires: last_record_age < most
    limits: {most: {is: 3 days, basis: operator policy}}
    grading: advice
    says: Nothing was logged for {last_record_age}.
    correction: Ask the crew.
    examples: {conforms: {last_record_age: 1 d}, does_not_conform: {last_record_age: 4 d}}
"""
    assert one_rule(rule=rule).rule == "van-not-silent"
    found = only_problem(added, rule=rule.replace("    examples:", "    examples:"))
    assert found[0] == "a rule about a van cannot say what it affects"


BY_GRADE = (
    "house_limit: {is: 20 mg/L, basis: common practice, review_by: 2027-04-01}",
    "house_limit: {by: grade, is: {mixed: 1 mg/L, two-bed: 0.002 g/L}, basis: made up}",
)


def test_a_limit_may_be_given_per_word():
    rule = one_rule(BY_GRADE)
    assert rule.limits["house_limit"].values == {"mixed": 1.0, "two-bed": 2.0}
    assert rule.needs == ("sampled", "outlet_tds", "grade")
    subject = {"sampled": "flowing", "outlet_tds": 1.5}
    outcomes = [rule.outcome_of_one({**subject, "grade": g}) for g in ("mixed", "two-bed", "x")]
    assert outcomes == [0, 1, -1]


@pytest.mark.parametrize(
    ("old", "new", "message", "at"),
    [
        ("by: grade", "by: grde", "'grde' is not a fact of this subject", "grde"),
        ("by: grade", "by: outlet_tds", "'outlet_tds' is not a fact of words", "outlet_tds"),
        ("by: grade, is: {mixed:", "by: sampled, is: {flowing:", "'sampled' is never 'two-bed'",
         "two-bed"),
        ("by: grade, ", "", "a quantity per word needs `by`", "{mixed"),
        ("0.002 g/L", "2 bar", "the limit 'house_limit' cannot be taken: bar and mg/L do not",
         "2 bar"),
        ("{mixed: 1 mg/L, two-bed: 0.002 g/L}", "1 mg/L",
         "a limit with `by` needs a quantity per word", "grade"),
        ("two-bed: 0.002 g/L", "two-bed: ~", "'two-bed': a quantity is expected here", "~"),
    ],
)  # fmt: skip
def test_a_limit_per_word_is_checked(old, new, message, at):
    found, where, _ = only_problem(BY_GRADE, (old, new))
    assert found.startswith(message)
    assert where.startswith(at)


def test_a_new_edition_ends_the_earlier_one():
    earlier = HEAD + RULE
    later = earlier.replace("2026-04\n", "2026-07\n").replace("2026-04-01}\n", "2026-07-01}\n", 1)
    first, second = read(later, earlier)
    assert (first.edition, first.in_force_until) == ("2026-04", date(2026, 6, 30))
    assert (second.edition, second.in_force_until) == ("2026-07", None)


def test_an_edition_that_says_when_it_ends_ends_then():
    earlier = (HEAD + RULE).replace("from: 2026-04-01", "from: 2026-04-01, until: 2026-05-31")
    later = (
        (HEAD + RULE).replace("2026-04\n", "2026-07\n").replace("from: 2026-04", "from: 2026-07")
    )
    assert [e.in_force_until for e in read(earlier, later)] == [date(2026, 5, 31), None]


def test_editions_of_one_name_or_one_first_day_are_refused():
    text = HEAD + RULE
    (problem,) = problems(text, text)
    assert problem.message == (
        "the edition '2026-04' of 'rinse-water' is there already, see rules/1.yaml:3:10"
    )
    (problem,) = problems(text, text.replace("edition: 2026-04", "edition: b"))
    assert problem.message == (
        "'rinse-water 2026-04' is in force from 2026-04-01 too, see rules/1.yaml:4:18"
    )
    assert len(read(text, text.replace("rinse-water", "resin"))) == 2


def test_unknown_names_can_be_left_undecided():
    text = (HEAD + RULE).replace("requires: outlet_tds <", "requires: acidity < 7 or outlet_tds <")
    rule = read(text, unknown_names="undecided")[0].rules[0]
    assert rule.unknown == ("acidity",)
    assert rule.needs == ("sampled", "acidity", "outlet_tds")
    subject = {"sampled": "flowing", "outlet_tds": 30.0, "acidity": 1.0}
    assert rule.outcome_of_one(subject) == -1
    assert rule.outcome_of_one({**subject, "outlet_tds": 1.0}) == 1


def test_facts_that_need_only_be_recorded_are_excused():
    rule = one_rule(("requires: outlet", "requires: recorded(inlet_tds) and outlet"))
    assert rule.excused == {"inlet_tds"}


def test_an_alias_brings_no_further_problems():
    examples = RULE.partition("    examples:")[2]
    text = HEAD + RULE.replace("    examples:", "    examples: &same")
    text += RULE.replace("outlet-below", "still-below").replace(
        f"examples:{examples}", "examples: *same\n"
    )
    (problem,) = problems(text)
    assert problem.message.startswith("the alias '*same' is not taken")


def test_too_many_rules_are_refused():
    (problem,) = problems(HEAD + "  - {}\n" * 2001)
    assert problem.message == "'rules': there are 2001 entries"


def test_a_message_is_cut_at_its_placeholders_and_doubled_braces_stand_for_themselves():
    assert list(cut("{a} of {b}; {{c}} {d}.")) == [
        ("", "a"), (" of ", "b"), ("; {c} ", "d"), (".", None),
    ]  # fmt: skip
