"""Conditions: what may be said, what makes sense, and what missing evidence does."""

import math

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qa_engine.conditions import ConditionError, Limit, parse_condition, read_quantity
from qa_engine.errors import UnitError
from qa_engine.facts import Fact

FACTS = {
    fact.name: fact
    for fact in (
        Fact("outlet_tds", "number", "", "mg/L"),
        Fact("inlet_tds", "number", "", "g/L"),
        Fact("inlet_pressure", "number", "", "kPa"),
        Fact("water_temperature", "number", "", "degC"),
        Fact("used_fraction", "number", "", "1"),
        Fact("colour_front", "number", "", "%"),
        Fact("water_used", "number", "", "L"),
        Fact("flow", "number", "", "L/min"),
        Fact("sampled", "words", "", words=("flowing", "first flush", "standing")),
        Fact("grade", "words", ""),
        Fact("charge_grade", "words", ""),
        Fact("isolated", "yes/no", ""),
        Fact("readings", "records", ""),
    )
}


def limit(name, written, by=None):
    quantities = written if by else {"": written}
    read = {word: read_quantity(quantity) for word, quantity in quantities.items()}
    unit = next(iter(read.values()))[1]
    values = {word: number for word, (number, _) in read.items()}
    return Limit(name, unit, values if by else values[""], by, "made up", None, str(written))


LIMITS = {
    "most_tds": limit("most_tds", "20 mg/L"),
    "most_pressure": limit("most_pressure", "1.1 bar"),
    "warmest": limit("warmest", "104 degF"),
    "longest": limit("longest", "2 h"),
    "by_grade": limit("by_grade", {"mixed": "1 mg/L", "two-bed": "2 mg/L"}, by="grade"),
}


def parse(text, **kw):
    return parse_condition(text, FACTS, LIMITS, subject="reading", **kw)


def ask(text, **subject):
    """Return the answer for one subject, after making sure that columns give the same."""
    condition = parse(text)
    alone = condition.of_one(subject)
    types = {"number": pl.Float64, "words": pl.String, "yes/no": pl.Boolean}
    row = {}
    choosing = [LIMITS[name].by for name in condition.limit_names if LIMITS[name].by]
    for name in dict.fromkeys((*condition.names, *choosing)):
        value = subject.get(name)
        missing = isinstance(value, float) and not math.isfinite(value)
        row[name] = pl.Series([None if missing else value], dtype=types[FACTS[name].type])
    assert pl.DataFrame(row).select(condition.expression()).item() is alone
    return alone


def faults(text, **kw):
    with pytest.raises(ConditionError) as raised:
        parse(text, **kw)
    return [(text[f.offset : f.offset + f.width], f.message, f.help) for f in raised.value.faults]


@pytest.mark.parametrize(
    ("text", "below", "at", "above"),
    [
        ("outlet_tds < most_tds", True, False, False),
        ("outlet_tds <= most_tds", True, True, False),
        ("outlet_tds > most_tds", False, False, True),
        ("outlet_tds >= most_tds", False, True, True),
        ("outlet_tds == most_tds", False, True, False),
        ("outlet_tds != most_tds", True, False, True),
        ("most_tds > outlet_tds", True, False, False),
        ("most_tds == outlet_tds", False, True, False),
    ],
)
def test_a_limit_exactly_met_behaves_as_written(text, below, at, above):
    """Slack is 1e-9 of 20, that is 2e-8: what is nearer than that counts as 20."""
    assert ask(text, outlet_tds=19.9) is below
    assert ask(text, outlet_tds=19.9999999) is below
    for exactly in (20.0, 19.99999999, 20.00000001):
        assert ask(text, outlet_tds=exactly) is at
    assert ask(text, outlet_tds=20.0000001) is above


def test_a_limit_in_another_unit_is_met_exactly():
    """1.1 bar is 110.00000000000001 kPa in binary."""
    assert ask("inlet_pressure < most_pressure", inlet_pressure=110.0) is False
    assert ask("inlet_pressure <= most_pressure", inlet_pressure=110.0) is True
    assert ask("inlet_pressure >= most_pressure", inlet_pressure=110.0) is True


def test_facts_in_two_units_are_compared_in_one():
    """0.02 g/L is 20 mg/L."""
    assert ask("outlet_tds <= inlet_tds", outlet_tds=20.0, inlet_tds=0.02) is True
    assert ask("outlet_tds < inlet_tds", outlet_tds=20.0, inlet_tds=0.02) is False
    assert ask("inlet_tds > outlet_tds", outlet_tds=19.0, inlet_tds=0.02) is True


def test_temperatures_are_compared_on_one_scale():
    """104 degF is 40 degC."""
    assert ask("water_temperature <= warmest", water_temperature=40.0) is True
    assert ask("water_temperature < warmest", water_temperature=40.0) is False


def test_products_and_quotients_have_units_too():
    """240 L at 2 L/min take 120 min, which is 2 h."""
    assert ask("water_used / flow <= longest", water_used=240.0, flow=2.0) is True
    assert ask("water_used <= flow * longest", water_used=241.0, flow=2.0) is False


def test_a_bare_number_means_the_unit_of_a_fact_without_dimension():
    assert ask("colour_front < 50", colour_front=49.0) is True
    assert ask("used_fraction < 0.5", used_fraction=0.49) is True


def test_a_bare_number_beside_a_quotient_of_two_units_is_a_plain_ratio():
    """100 mg/L over 0.2 g/L is a half."""
    assert ask("outlet_tds / inlet_tds == 0.5", outlet_tds=100.0, inlet_tds=0.2) is True


def test_a_limit_by_grade_is_missing_for_a_grade_without_one():
    assert ask("outlet_tds <= by_grade", outlet_tds=1.5, grade="mixed") is False
    assert ask("outlet_tds <= by_grade", outlet_tds=1.5, grade="two-bed") is True
    assert ask("outlet_tds <= by_grade", outlet_tds=1.5, grade="other") is None
    assert ask("outlet_tds <= by_grade", outlet_tds=1.5) is None


def test_a_chain_compares_each_neighbour():
    assert ask("0 <= used_fraction < 1", used_fraction=0.5) is True
    assert ask("0 <= used_fraction < 1", used_fraction=1.0) is False


def test_membership_in_words_and_numbers():
    assert ask("sampled in ('flowing', 'standing')", sampled="standing") is True
    assert ask("sampled not in ('flowing',)", sampled="standing") is True
    assert ask("sampled in ('flowing',)") is None
    assert ask("used_fraction in [0.5, 1]", used_fraction=1.0) is True
    assert ask("used_fraction in [0.5, -1]", used_fraction=0.6) is False


def test_words_of_two_facts_can_be_compared():
    assert ask("grade == charge_grade", grade="a", charge_grade="a") is True
    assert ask("grade != charge_grade", grade="a", charge_grade="b") is True
    assert ask("grade == charge_grade", grade="a") is None


MISSING = (None, math.nan, math.inf, -math.inf)


@pytest.mark.parametrize("missing", MISSING)
@pytest.mark.parametrize(
    "text",
    [
        "outlet_tds < most_tds",
        "not outlet_tds < most_tds",
        "abs(outlet_tds) >= most_tds",
        "min(outlet_tds, most_tds) < most_tds",
        "max(outlet_tds, most_tds) >= most_tds",
        "-outlet_tds < most_tds",
        "outlet_tds * 0 < most_tds",
    ],
)
def test_what_is_missing_leaves_it_open(text, missing):
    assert ask(text, outlet_tds=missing) is None


@pytest.mark.parametrize("missing", MISSING)
def test_only_recorded_answers_to_what_is_missing(missing):
    assert ask("recorded(outlet_tds)", outlet_tds=missing) is False
    assert ask("recorded(outlet_tds)", outlet_tds=0.0) is True
    assert ask("recorded(isolated)", isolated=False) is True
    assert ask("recorded(grade)") is False


@pytest.mark.parametrize(
    ("isolated", "low", "both", "either"),
    [
        (True, True, True, True),
        (True, False, False, True),
        (True, None, None, True),
        (False, True, False, True),
        (False, False, False, False),
        (False, None, False, None),
        (None, True, None, True),
        (None, False, False, None),
        (None, None, None, None),
    ],
)
def test_and_and_or_follow_kleene(isolated, low, both, either):
    tds = {True: 1.0, False: 99.0, None: None}[low]
    assert ask("isolated and outlet_tds < most_tds", isolated=isolated, outlet_tds=tds) is both
    assert ask("isolated or outlet_tds < most_tds", isolated=isolated, outlet_tds=tds) is either


def test_division_by_zero_and_overflow_leave_it_open():
    assert ask("water_used / flow > longest", water_used=1.0, flow=0.0) is None
    assert ask("used_fraction * 1e300 > 1", used_fraction=1e300) is None
    assert ask("1 / (1 / used_fraction) < 1", used_fraction=0.0) is None
    assert ask("1 / (used_fraction * 1e300) < 1", used_fraction=1e300) is None
    assert ask("min(used_fraction * 1e300, 1) == 1", used_fraction=1e300) is None


def test_the_names_in_a_condition_are_told_in_order():
    condition = parse("recorded(grade) and outlet_tds < most_tds or not isolated")
    assert condition.names == ("grade", "outlet_tds", "isolated")
    assert condition.limit_names == ("most_tds",)
    assert condition.weighed == {"outlet_tds", "isolated"}


def test_a_simple_comparison_stays_a_simple_expression():
    expected = pl.col("outlet_tds").lt(pl.lit(20.0 + 20.0 * -1e-9, pl.Float64))
    assert parse("outlet_tds < most_tds").expression().meta.eq(expected)


def test_several_faults_are_found_at_once():
    found = faults("outlet_tsd < most_tdz and inlet_pressure < outlet_tds")
    assert [where for where, _, _ in found] == ["outlet_tsd", "most_tdz", "outlet_tds"]
    assert found[0][1:] == (
        "'outlet_tsd' is neither a fact of a reading nor a limit of this rule",
        "did you mean 'outlet_tds'?",
    )


@pytest.mark.parametrize(
    ("text", "where", "says", "help"),
    [
        (
            "inlet_pressure < most_tds",
            "most_tds",
            "'inlet_pressure' is a number in kPa and 'most_tds' is a limit in mg/L; "
            "they cannot be compared",
            "what goes with kPa is: kPa, bar, psi",
        ),
        (
            "outlet_tds < 20",
            "20",
            "'outlet_tds' is a number in mg/L and '20' is a bare number; they cannot be compared",
            "write the number as a limit, with one of the units mg/L, ppm, g/L, and name it here",
        ),
        ("0 < outlet_tds", "0", "'0' is a bare number", "write the number as a limit"),
        ("outlet_tds < 20 mg/L", "20 mg", "'20 mg' is not a plain number", "quantities live in"),
        ("outlet_tds + flow < most_tds", "flow", "'outlet_tds' is a number in mg/L", "what goes"),
        ("water_temperature * 2 < warmest", "water_temperature", "'water_temperature' is a temp",
         "a temperature can only be compared"),
        ("min(outlet_tds, flow) < most_tds", "flow", "'outlet_tds' is a number in mg/L", "what"),
        ("sampled == 'flowin'", "'flowin'", "'sampled' is never 'flowin'", "did you mean 'flowi"),
        ("sampled in ('flown', 'standing')", "'flown'", "'sampled' is never", "did you mean"),
        ("sampled in ('flowing')", "'flowing'", "'in' takes a list of words", "a list is written"),
        ("sampled < 'flowing'", "'flowing'", "'sampled' is a fact of words", "a fact of words is"),
        ("isolated == 'yes'", "'yes'", "'isolated' is a yes or no", "write a yes-or-no fact alone"),
        ("isolated == True", "True", "'True' is not part of conditions", "write a yes-or-no fact"),
        ("outlet_tds", "outlet_tds", "'outlet_tds' is a number in mg/L, which", "compare it with"),
        ("readings", "readings", "'readings' is a list of records", "compare it with something"),
        ("recorded(most_tds)", "most_tds", "recorded takes the name of a fact", ""),
        ("recorded", "recorded", "'recorded' is a function", "write recorded(...)"),
        ("abs(isolated) < most_tds", "isolated", "'isolated' is a yes or no; abs takes", ""),
        ("min(outlet_tds) < most_tds", "min(outlet_tds)", "min takes two or more parts", ""),
        ("print(outlet_tds)", "print", "'print' is not a function here", "the functions are"),
        ("1 < 2", "1", "the condition names no fact", "name a fact"),
        ("used_fraction < 1 / 0", "1 / 0", "'1 / 0' is not a finite number", ""),
        ("used_fraction < 1e999", "1e999", "'1e999' is not a number that can be used", ""),
        ("outlet_tds <", "<", "this is not a condition", "a condition is made of"),
        ("(outlet_tds < most_tds", "(", "this is not a condition: '(' was never closed", ""),
        ("", "", "the condition is empty", "a condition is made of"),
        ("sampled == 'flowing", "'", "a quoted word is not closed", "close it with '"),
    ],
)  # fmt: skip
def test_a_fault_says_where_what_and_what_would_do(text, where, says, help):
    ((found, message, would_do),) = faults(text)
    assert found == where
    assert message.startswith(says)
    assert would_do.startswith(help)


@pytest.mark.parametrize(
    "text",
    [
        "outlet_tds.real < most_tds",
        "().__class__ == isolated",
        "grade['a'] == 'b'",
        "(lambda: isolated)()",
        "isolated if isolated else isolated",
        "[isolated for isolated in grade]",
        "outlet_tds ** 2 < most_tds",
        "used_fraction // 1 < 2",
        "used_fraction % 1 < 2",
        "+used_fraction < 2",
        "~isolated",
        "grade is 'a'",
        "f'{grade}' == 'a'",
        "b'a' == grade",
        "grade == 'a' 'b'",
        "(x := isolated)",
        "max(*used_fraction, 1) < 2",
        "abs(x=used_fraction) < 2",
        "isolated # and not isolated",
        "grade == 'a\\n'",
        "grade == '\u00e9'",
        "isolated and \u0131solated",
        "used_fraction < 1_0",
        "used_fraction < 0x10",
        "used_fraction < 1j",
        "used_fraction < 010",
        "isolated; isolated",
        "isolated\nand\tisolated",
        "(isolated, isolated)",
        "isolated) or (isolated",
        "None",
        "...",
        "not " * 100 + "isolated",
        "(" * 60 + "isolated" + ")" * 60,
        "isolated and " * 70 + "isolated" + " " * 100,
        "-" * 400 + "used_fraction < 1",
        "used_fraction" + " + used_fraction" * 40 + " < 1",
    ],
)
def test_what_conditions_do_not_have_is_refused(text):
    assert faults(text)


def test_a_text_over_several_lines_is_one_condition():
    assert parse("  outlet_tds\n  < most_tds").names == ("outlet_tds",)
    assert faults("\n  outlet_tsd < most_tds")[0][0] == "outlet_tsd"


def test_unknown_names_can_be_left_open():
    condition = parse("acidity < most_tds or isolated", all_unsure=True)
    assert condition.unknown == ("acidity",)
    assert condition.names == ("acidity", "isolated")
    assert condition.of_one({"isolated": True}) is True
    assert condition.of_one({"isolated": False}) is None
    answers = pl.DataFrame({"isolated": [True, False]}).select(condition.expression())
    assert answers.to_series().to_list() == [True, None]
    assert parse("recorded(acidity)", all_unsure=True).of_one({"acidity": 1.0}) is None
    assert parse("acidity", all_unsure=True).of_one({"acidity": True}) is None


def test_names_with_a_fault_of_their_own_are_not_reported_again():
    assert parse("outlet_tds < broken_limit", unsure=("broken_limit",)).of_one({}) is None


@pytest.mark.parametrize("written", ["", "mg/L", "1e999 mg/L", "20 mgl", "1_0 mg/L", "nan", "1 2"])
def test_a_quantity_needs_a_number_and_a_known_unit(written):
    with pytest.raises(UnitError):
        read_quantity(written)


def test_a_quantity_without_unit_is_in_the_plain_unit():
    assert read_quantity("0.5")[1].name == "1"
    assert read_quantity("20", "mg/L")[1].name == "mg/L"
    assert read_quantity("-1.5e1 mg/L")[0] == -15.0


SCRAPS = (
    *("outlet_tds", "isolated", "grade", "most_tds", "recorded", "min", "and", "or", "not", "in"),
    *(
        "(",
        ")",
        ",",
        "[",
        "]",
        "<",
        "==",
        "+",
        "/",
        "*",
        "1",
        "0.5",
        "'mixed'",
        ".",
        "lambda",
        "is",
    ),
)


@settings(deadline=None, derandomize=True, max_examples=500)
@given(st.lists(st.sampled_from(SCRAPS), max_size=12).map(" ".join))
def test_any_text_is_either_a_condition_or_a_condition_error(text):
    try:
        answer = parse(text).of_one({})
    except ConditionError as error:
        offsets = [fault.offset for fault in error.faults]
    else:
        offsets = [0] if answer in (True, False, None) else []
    assert offsets
    assert all(0 <= offset <= max(0, len(text) - 1) for offset in offsets)
