"""The rule sets that ship: every example of every rule, and what all of them owe their readers."""

import ast
import re
from collections.abc import Iterator
from copy import deepcopy
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from importlib.resources import files

import polars as pl
import pytest

from qa_engine.cli.rule_files import offered
from qa_engine.conditions import Limit, parse_condition
from qa_engine.conformity import CONFORMS, DOES_NOT_CONFORM, UNDECIDED
from qa_engine.facts import ENGINE_FACTS, STATE_SUBJECTS
from qa_engine.facts.catalogue import Catalogue
from qa_engine.inspection import Assignment, inspect
from qa_engine.plugin_host import installed_plugins
from qa_engine.plugins import rule_of_thumb
from qa_engine.rulesets import Example, Rule, check_examples, read_rule_sets
from qa_engine.rulesets.examples import subject_of
from qa_engine.rulesets.rule import LISTED_UNDER

FILES = (
    "meters.yaml",
    "resin.yaml",
    "rinse-water.yaml",
    "seals.yaml",
    "spent-resin-and-records.yaml",
    "vessel.yaml",
)
REVIEW = date(2027, 4, 1)
HOUSE = ("common practice, no published source", "operator policy, no published source")

CATALOGUE = Catalogue.of((*ENGINE_FACTS, *rule_of_thumb.qa_facts()))
FOLDER = files("qa_engine.rules")
EDITIONS = read_rule_sets([(name, FOLDER.joinpath(name).read_bytes()) for name in FILES], CATALOGUE)
RULES = [rule for edition in EDITIONS for rule in edition.rules]
BY_ID = {rule.rule: rule for rule in RULES}

each_rule = pytest.mark.parametrize("rule", [pytest.param(r, id=r.rule) for r in RULES])


def outcome(rule: Rule, example: Example) -> int:
    """Return what a rule makes of an example."""
    return rule.outcome_of_one(subject_of(example, CATALOGUE.facts_of(rule.subject)))


def shown(rule: Rule, outcome: str) -> list[Example]:
    """Return the examples that a rule lists under an outcome."""
    return [example for example in rule.examples if example.listed_under == outcome]


EXAMPLES = [
    pytest.param(rule, example, id=f"{rule.rule}-{listed}-{number}")
    for rule in RULES
    for listed in LISTED_UNDER
    for number, example in enumerate(shown(rule, listed), start=1)
]


@pytest.mark.parametrize(("rule", "example"), EXAMPLES)
def test_an_example_has_the_outcome_it_is_listed_under(rule, example):
    assert outcome(rule, example) == LISTED_UNDER[example.listed_under]


def test_the_reader_of_rule_sets_has_nothing_to_say_about_the_examples():
    assert check_examples(EDITIONS, CATALOGUE) == ()


# What a slip of the pen would make of a rule; some example must notice each.

STRICTER = {ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt}
CONTRARY = {ast.Eq: ast.NotEq, ast.NotEq: ast.Eq, ast.Lt: ast.Gt, ast.LtE: ast.GtE}
CONTRARY |= {ast.Gt: ast.Lt, ast.GtE: ast.LtE}


def slips(node: ast.expr) -> Iterator[ast.expr]:
    """Yield what one part of a condition could be mistaken for."""
    if isinstance(node, ast.Compare):
        for swap in (STRICTER, CONTRARY):
            for place, sign in enumerate(node.ops):
                if type(sign) in swap:
                    changed = deepcopy(node)
                    changed.ops[place] = swap[type(sign)]()
                    yield changed
    if isinstance(node, ast.BoolOp):
        yield ast.BoolOp(ast.Or() if isinstance(node.op, ast.And) else ast.And(), node.values)
        for left_out in node.values:
            rest = [value for value in node.values if value is not left_out]
            yield rest[0] if len(rest) == 1 else ast.BoolOp(node.op, rest)
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
        yield node.operand
    if isinstance(node, ast.Name | ast.Call):
        yield ast.UnaryOp(ast.Not(), node)


def miswritten(text: str) -> Iterator[str]:
    """Yield a condition with one slip in it."""
    whole = ast.parse(text, mode="eval").body
    yield from map(ast.unparse, slips(whole))
    for parent in ast.walk(whole):
        if not isinstance(parent, ast.BoolOp):
            continue
        for place, part in enumerate(parent.values):
            for slip in slips(part):
                parent.values[place] = slip
                yield ast.unparse(whole)
            parent.values[place] = part


def shifted(limit: Limit) -> Iterator[Limit]:
    """Yield a limit moved a little to either side: by 1 %, or by 1 where that says nothing."""
    number = limit.values
    assert isinstance(number, float)
    step = 1.0 if number == 0 or limit.unit.name == "count" else abs(number) / 100
    for moved in (number - step, number + step):
        yield replace(limit, values=moved)


def rewritten(rule: Rule, applies_if: str | None, requires: str, limits: dict[str, Limit]) -> Rule:
    """Return a rule with other conditions or limits."""
    facts = CATALOGUE.facts_of(rule.subject)
    return replace(
        rule,
        limits=limits,
        applies_if=applies_if and parse_condition(applies_if, facts, limits),
        requires=parse_condition(requires, facts, limits),
    )


def spoilt(rule: Rule) -> Iterator[tuple[str, Rule]]:
    """Yield a rule with one thing wrong in it, and what that is."""
    applies = rule.applies_if.text if rule.applies_if else None
    requires, limits = rule.requires.text, dict(rule.limits)
    for name, limit in limits.items():
        for moved in shifted(limit):
            changed = {**limits, name: moved}
            yield f"{name} at {moved.values}", rewritten(rule, applies, requires, changed)
    for text in miswritten(requires):
        yield text, rewritten(rule, applies, text, limits)
    if applies:
        yield "applies always", rewritten(rule, None, requires, limits)
        for text in miswritten(applies):
            yield f"applies if {text}", rewritten(rule, text, requires, limits)


@each_rule
def test_the_examples_of_a_rule_notice_every_slip_in_it(rule):
    wrong = list(spoilt(rule))
    assert wrong
    right = [outcome(rule, example) for example in rule.examples]
    assert [
        what
        for what, changed in wrong
        if [outcome(changed, example) for example in rule.examples] == right
    ] == []


def test_the_rules_fill_six_files_and_no_id_comes_twice():
    shipped = sorted(one.name for one in FOLDER.iterdir() if one.name.endswith(".yaml"))
    assert shipped == list(FILES)
    assert len(EDITIONS) == len(FILES)
    assert len(BY_ID) == len(RULES) >= 40


def test_every_file_is_one_edition_in_force_from_2025_with_an_owner():
    for edition, name in zip(EDITIONS, FILES, strict=True):
        assert f"{edition.rule_set}.yaml" == name
        assert edition.edition == "2025-01"
        assert (edition.in_force_from, edition.in_force_until) == (date(2025, 1, 1), None)
        assert edition.owner == "standards lead"


@each_rule
def test_a_rule_shows_both_sides_and_what_missing_evidence_does(rule):
    listed = {example.listed_under for example in rule.examples}
    assert {"conforms", "does_not_conform"} <= listed
    assert ("not_applicable" in listed) == (rule.applies_if is not None)
    weighs_nothing = not rule.requires.weighed and not rule.applies_if
    asks_first = rule.applies_if and rule.applies_if.text.startswith("recorded(")
    if not weighs_nothing and not asks_first:
        assert "undecided" in listed


@each_rule
def test_the_texts_of_a_rule_are_sentences_and_its_id_is_in_kebab_case(rule):
    assert re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)+", rule.rule)
    assert not rule.title.endswith(".")
    for text in (rule.says, rule.correction, rule.caution or "None."):
        assert re.match(r"[A-Z{]", text)
        assert text.endswith(".")
    assert "{" in rule.says


@each_rule
def test_a_title_says_what_holds_in_nine_words_at_most(rule):
    assert len(rule.title.split()) <= 9


LIMITS = [
    pytest.param(limit, id=f"{rule.rule}-{name}")
    for rule in RULES
    for name, limit in rule.limits.items()
]


@pytest.mark.parametrize("limit", LIMITS)
def test_a_limit_names_a_source_or_says_that_it_is_a_house_limit_and_when_it_is_reviewed(limit):
    is_house = limit.basis in HOUSE or limit.basis.startswith("house range")
    assert limit.review_by in ((REVIEW,) if is_house else (None, REVIEW))
    names_a_number_of_its_source = re.search(r"\b\d", limit.basis)
    assert is_house or limit.basis.startswith("definition: ") or names_a_number_of_its_source


@each_rule
def test_a_rule_rests_on_a_basis_of_its_own_or_on_those_of_its_limits(rule):
    assert rule.basis or rule.limits
    if rule.basis:
        is_house = rule.basis.startswith((*HOUSE, "no published interval", "definition: "))
        names_its_source = re.search(r"\d|\b(data plate|plant practice)\b", rule.basis)
        assert is_house or names_its_source


HANDS_ON_WORK = re.compile(
    r"\b(resin change|change the resin|resin of this grade|governs the resin|opening|seals?|head"
    r"|pressure|valve|supply|flush|examined|(against a|fresh) standard)\b",
    re.IGNORECASE,
)


@each_rule
def test_work_on_vessel_or_resin_comes_with_a_caution(rule):
    if HANDS_ON_WORK.search(rule.correction):
        assert rule.caution


@each_rule
def test_a_correction_on_paper_only_has_no_caution(rule):
    if rule.correction.startswith("Add the person's id"):
        assert rule.caution is None


@each_rule
def test_a_correction_that_opens_a_tank_says_to_isolate_it_or_to_release_its_pressure(rule):
    if re.search(r"[Cc]hange the resin|next opening|top the tank up", rule.correction):
        assert re.search(r"pressure|isolate", rule.caution, re.IGNORECASE)


def test_nobody_can_permit_pressure_unfit_vessels_incidents_or_breaches_of_the_law():
    never = {rule.rule for rule in BY_ID.values() if rule.permission == "never"}
    vessel = next(edition for edition in EDITIONS if edition.rule_set == "vessel")
    major = {rule.rule for rule in vessel.rules if rule.grading == "major"}
    assert never == major | {
        "competent-person-recorded",
        "origin-recorded-on-disposal",
        "destination-recorded-on-disposal",
        "local-rule-recorded-on-disposal",
        "waste-code-fits-origin",
        "nothing-read-on-what-is-out-of-use",
    }
    assert {r.subject for r in vessel.rules if r.rule in major} >= {"tank", "rinse", "incident"}


def test_what_must_follow_an_event_has_a_day_a_pair_and_a_fortnight_of_time():
    assert {rule.rule: rule.within for rule in BY_ID.values() if rule.within} == {
        "lubrication-logged-at-resin-change": timedelta(days=1),
        "complaint-followed-by-reading": timedelta(days=2),
        "incident-followed-by-examination": timedelta(days=14),
    }


def test_a_stop_casts_doubt_on_rinses_and_a_bad_meter_on_readings():
    affects = {rule.rule: rule.affects for rule in BY_ID.values() if rule.affects}
    assert affects == {
        "outlet-below-stop-limit": "rinse",
        "meter-within-tolerance-before-adjustment": "reading",
    }
    assert all("{affected}" in BY_ID[name].says for name in affects)


@pytest.mark.parametrize(
    ("outlet_mg_l", "failed"),
    [
        (9.9, set()),
        (10.0, {"advice"}),
        (20.0, {"advice", "minor"}),
        (30.0, {"advice", "minor", "major"}),
        (35.0, {"advice", "minor", "major"}),
    ],
)
def test_the_three_limits_on_the_outlet_fire_one_after_the_other(outlet_mg_l, failed):
    ladder = ("outlet-below-early-warning", "outlet-below-house-limit", "outlet-below-stop-limit")
    reading = {"outlet_as_tds": outlet_mg_l, "sampled": "flowing", "lowers_tds": True}
    fired = {
        BY_ID[name].grading for name in ladder if BY_ID[name].requires.of_one(reading) is False
    }
    assert fired == failed


FOR_ANY_BED = {
    "inlet-and-outlet-both-recorded",
    "outlet-tds-agrees-with-conductivity",
    "very-pure-water-not-converted-to-tds",
}
OUTLET = {"outlet_tds", "outlet_as_tds", "outlet_tds_before", "outlet_tds_after"}
OUTLET |= {"rinses_since_reading", "last_outlet_tds", "last_outlet_age"}


@each_rule
def test_no_limit_on_outlet_tds_is_laid_on_a_bed_that_does_not_lower_it(rule):
    if OUTLET & set(rule.requires.names) and rule.rule not in FOR_ANY_BED:
        assert rule.applies_if
        assert rule.applies_if.of_one({"lowers_tds": False}) is False


def test_what_a_later_good_value_does_not_undo_stands_until_the_work_is_logged():
    lasting = {
        rule.rule: rule.settled_by
        for rule in BY_ID.values()
        if rule.stands_until == "settling record"
    }
    assert lasting == {
        "flowing-pressure-within-plate": "vessel_service",
        "static-pressure-within-plate": "vessel_service",
        "water-temperature-within-plate": "vessel_service",
        "examination-rests-on-more-than-operator-policy": "vessel_service",
        "incident-followed-by-examination": "vessel_service",
        "nothing-rinsed-after-incident-before-examination": "vessel_service",
        "no-petroleum-on-water-side-seals": "seal_service",
        "no-silicone-grease-on-silicone-rubber": "seal_service",
        "no-leak-after-closing": "seal_service",
    }


# What stays true of a tank, or must be put right, whether or not it is in use.
WHILE_OUT_OF_USE = {"water-logged-agrees-with-counter", "spent-resin-not-held-too-long"}


@each_rule
def test_a_rule_about_a_thing_asks_nothing_of_what_is_out_of_use(rule):
    if rule.subject in STATE_SUBJECTS and rule.rule not in WHILE_OUT_OF_USE:
        assert rule.applies_if
        assert rule.applies_if.of_one({"out_of_use": True}) is False


def test_a_vessel_without_an_examination_on_record_is_undecided_and_no_interval_is_claimed():
    rule = BY_ID["vessel-examination-on-record"]
    assert rule.outcome_of_one({"out_of_use": False}) == UNDECIDED
    assert not rule.limits
    assert "no published interval" in rule.basis
    assert "local codes decide" in rule.says


@pytest.mark.parametrize(
    "code", ["19 08 06*", "19 08 06", "190806*", "190806", "19.08.06*", "19.08.06"]
)
def test_the_code_of_resin_from_waste_water_is_caught_however_it_is_written(code):
    rule = BY_ID["waste-code-fits-origin"]
    assert rule.outcome_of_one({"waste_code": code, "origin": "fresh water"}) == DOES_NOT_CONFORM
    assert rule.outcome_of_one({"waste_code": code, "origin": "wash water"}) == CONFORMS


@each_rule
def test_what_was_not_read_is_not_cited_as_if_it_had_been(rule):
    told = " ".join((rule.basis or "", *(limit.basis for limit in rule.limits.values())))
    assert "trade article" not in told
    assert "1910.147" not in told or "from memory of 29 CFR 1910.147" in told
    assert told.count("PVP2002-1249") == told.count("ASME paper PVP2002-1249 on composite pressure")


NEEDS_NONE = {"no_examination_by": "local code", "no_examination_document": "letter of 3 March"}


@pytest.mark.parametrize(
    ("stated", "undecided"),
    [
        ({}, ["T-1"]),
        ({"no_examination_by": "local code"}, ["T-1"]),
        ({"no_examination_document": "letter of 3 March"}, ["T-1"]),
        (NEEDS_NONE, []),
        ({**NEEDS_NONE, "from": "2026-05-31"}, []),
        ({**NEEDS_NONE, "from": "2026-06-02"}, ["T-1"]),
    ],
)
def test_no_examination_is_asked_for_where_an_authority_and_its_document_say_so(
    fleet_of, stated, undecided
):
    fleet = fleet_of([], tanks=[{"tank": "T-1"}, {"tank": "T-1", "from": "2026-01-01", **stated}])
    task = Assignment({}, fleet.register, datetime(2026, 6, 1, tzinfo=UTC))
    findings = inspect(task, installed_plugins(), offered).findings
    mine = findings.filter(pl.col("rule") == "vessel-examination-on-record")
    assert mine["item"].to_list() == undecided


def test_the_guarded_stop_limit_differs_from_the_simple_one_only_near_the_limit():
    """1.6449 x 0.7 mg/L = 1.15 mg/L to either side of 30 mg/L it is open; past it both agree."""
    simple, guarded = (
        BY_ID[name] for name in ("outlet-below-stop-limit", "outlet-surely-below-stop-limit")
    )
    differs = []
    for tenths in range(200, 400):
        reading = {"sampled": "flowing", "lowers_tds": True, "outlet_as_tds": tenths / 10}
        reading |= {"uncertainty of outlet_as_tds": 0.7}
        verdict = guarded.outcome_of_one(reading)
        if verdict != simple.outcome_of_one(reading):
            assert verdict == UNDECIDED
            differs.append(tenths / 10)
    assert (differs[0], differs[-1], len(differs)) == (28.9, 31.1, 23)
