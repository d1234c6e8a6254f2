"""The two faces of a condition, columns and one subject, give the same answers."""

import math
import random

import polars as pl
from hypothesis import given, settings
from hypothesis import strategies as st

from qa_engine.conditions import ConditionError, Limit, parse_condition
from qa_engine.facts import Fact
from qa_engine.units import unit

FACTS = {
    fact.name: fact
    for fact in (
        Fact("ratio", "number", "", "1"),
        Fact("times", "number", "", "count"),
        Fact("share", "number", "", "%"),
        Fact("tds", "number", "", "mg/L"),
        Fact("salt", "number", "", "g/L"),
        Fact("warmth", "number", "", "degC"),
        Fact("heat", "number", "", "degF"),
        Fact("grade", "words", ""),
        Fact("other_grade", "words", ""),
        Fact("isolated", "yes/no", ""),
        Fact("leak", "yes/no", ""),
    )
}
LIMITS = {
    "most": Limit("most", unit("mg/L"), 20.0, None, "", None, ""),
    "per_grade": Limit("per_grade", unit("g/L"), {"a": 0.02, "b": 1e308}, "grade", "", None, ""),
    "warmest": Limit("warmest", unit("degF"), 104.0, None, "", None, ""),
    "part": Limit("part", unit("%"), 20.0, None, "", None, ""),
}
HOSTILE = (
    *(None, 0.0, -0.0, 1.0, -1.0, 0.02, 0.2, 20.0, 40.0, 104.0, 19.99999998, 20.00000002, 3.7),
    *(20 * (1 + 1e-9), 20 * (1 - 1e-9), 1e308, -1e308, 1.7e308, 5e-324, -5e-324, 1e-310, 1e154),
)
ROWS = 60


def subjects():
    """Return the subjects as a frame, and one by one with other ways to be missing."""
    chance = random.Random(20260401)
    choices = {"number": HOSTILE, "words": ("a", "b", "c", None), "yes/no": (True, False, None)}
    columns = {
        name: [chance.choice(choices[fact.type]) for _ in range(ROWS)]
        for name, fact in FACTS.items()
    }
    types = {"number": pl.Float64, "words": pl.String, "yes/no": pl.Boolean}
    schema = {name: types[fact.type] for name, fact in FACTS.items()}
    single = [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]
    for subject in single:
        for name, value in list(subject.items()):
            if value is None and FACTS[name].type == "number":
                subject[name] = chance.choice((None, math.nan, math.inf, -math.inf))
            if value is None and chance.random() < 0.5:
                del subject[name]
    return pl.DataFrame(columns, schema=schema), single


FRAME, SINGLE = subjects()


def combined(plain, conc):
    """Return strategies of plain numbers and of concentrations one step deeper."""
    several = st.lists(plain, min_size=2, max_size=3).map(", ".join)
    pick = st.sampled_from(["min", "max"])
    plains = st.one_of(
        st.builds("({} {} {})".format, plain, st.sampled_from("+-*/"), plain),
        st.builds("({} / {})".format, conc, conc),
        st.builds("{}({})".format, pick, several),
        st.builds("abs({})".format, plain),
        st.builds("(-{})".format, plain),
    )
    concs = st.one_of(
        st.builds("({} {} {})".format, conc, st.sampled_from("+-"), conc),
        st.builds("({} {} {})".format, conc, st.sampled_from("*/"), plain),
        st.builds("{}({}, {})".format, pick, conc, conc),
        st.builds("abs({})".format, conc),
    )
    return plains, concs


def verdicts():
    """Return a strategy of conditions over all facts and limits."""
    plain = st.sampled_from(["ratio", "times", "share", "part", "0", "2", "0.3", "1e300", "1e-9"])
    conc = st.sampled_from(["tds", "salt", "most", "per_grade"])
    deeper_plain, deeper_conc = combined(plain, conc)
    deepest_plain, deepest_conc = combined(plain | deeper_plain, conc | deeper_conc)
    any_plain, any_conc = plain | deeper_plain | deepest_plain, conc | deeper_conc | deepest_conc
    sign = st.sampled_from(["<", "<=", ">", ">=", "==", "!="])
    warmth = st.sampled_from(["warmth", "heat", "warmest"])
    grade = st.sampled_from(["grade", "other_grade", "'a'", "'d'"])
    leaf = st.one_of(
        st.builds("{} {} {}".format, any_plain, sign, any_plain),
        st.builds("{} {} {}".format, any_conc, sign, any_conc),
        st.builds("{} {} {} {} {}".format, any_conc, sign, any_conc, sign, any_conc),
        st.builds("{} {} {}".format, warmth, sign, warmth),
        st.builds("{} {} grade".format, grade, st.sampled_from(["==", "!="])),
        st.builds("grade {} ('a', 'c')".format, st.sampled_from(["in", "not in"])),
        st.builds("{} in [1, 20, 0.2]".format, any_plain),
        st.sampled_from(["isolated", "leak", "not leak"]),
        st.builds("recorded({})".format, st.sampled_from(list(FACTS))),
    )
    joined = st.builds("({}) {} ({})".format, leaf, st.sampled_from(["and", "or"]), leaf)
    return st.one_of(leaf, joined, st.builds("not ({})".format, joined))


def parsed(text):
    """Return the condition, None if it is senseless in one of the two ways that can arise here."""
    try:
        return parse_condition(text, FACTS, LIMITS)
    except ConditionError as error:
        for fault in error.faults:
            assert "names no fact" in fault.message or "not a finite number" in fault.message
        return None


@settings(deadline=None, derandomize=True, max_examples=150)
@given(st.lists(verdicts(), min_size=10, max_size=10))
def test_columns_and_single_subjects_agree_on_random_conditions(texts):
    """1,500 conditions over 60 subjects with missing, NaN, infinite, huge and tiny numbers."""
    conditions = [condition for text in texts if (condition := parsed(text))]
    expressions = [one.expression().alias(str(at)) for at, one in enumerate(conditions)]
    anchored = (pl.col("ratio").alias("height"), *expressions)  # a condition may be a single null
    eager, shared = FRAME.select(anchored), FRAME.lazy().select(anchored).collect()
    for at, condition in enumerate(conditions):
        alone = [condition.of_one(subject) for subject in SINGLE]
        assert eager[str(at)].to_list() == alone, condition.text
        assert shared[str(at)].to_list() == alone, condition.text


@settings(deadline=None, derandomize=True, max_examples=40)
@given(verdicts())
def test_an_answer_does_not_depend_on_how_many_subjects_are_asked(text):
    condition = parsed(text)
    if condition:
        whole = FRAME.select(answer=condition.expression())["answer"].to_list()
        one_by_one = [FRAME[at : at + 1].select(condition.expression()).item() for at in range(20)]
        assert whole[:20] == one_by_one
