"""Guarded comparisons: sure, surely not, or too close to call."""

import math
import random

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qa_engine.conditions import (
    ConditionError,
    Limit,
    guarded_condition,
    guards_in,
    parse_condition,
    probability_of,
)
from qa_engine.facts import Fact
from qa_engine.probability import conformance_probability
from qa_engine.units import unit

FACTS = {
    fact.name: fact
    for fact in (
        Fact("tds", "number", "", "mg/L", low=0),
        Fact("uncertainty of tds", "number", "", "mg/L", low=0),
        Fact("inlet", "number", "", "mg/L", low=0),
        Fact("uncertainty of inlet", "number", "", "mg/L", low=0),
        Fact("balance", "number", "", "mg/L"),
        Fact("uncertainty of balance", "number", "", "mg/L", low=0),
        Fact("certain", "number", "", "mg/L"),
        Fact("grade", "words", ""),
        Fact("flowing", "yes/no", ""),
    )
}
LIMITS = {
    "most": Limit("most", unit("mg/L"), 10.0, None, "", None, ""),
    "least": Limit("least", unit("mg/L"), 2.0, None, "", None, ""),
    "low": Limit("low", unit("mg/L"), 1.0, None, "", None, ""),
    "grams": Limit("grams", unit("g/L"), 0.01, None, "", None, ""),
    "each": Limit("each", unit("mg/L"), {"a": 10.0, "b": 20.0}, "grade", "", None, ""),
}


def simple(text):
    return parse_condition(text, FACTS, LIMITS)


def guarded(text, confidence=0.95):
    return guarded_condition(simple(text), FACTS, confidence)


def answer(text, tds, u, confidence=0.95, **more):
    """The answer for one subject, the same from both faces."""
    subject = {"tds": tds, "uncertainty of tds": u, **more}
    condition = guarded(text, confidence)
    alone = condition.of_one(subject)
    columns = [
        pl.Series(name, [subject.get(name)], {"words": pl.String, "yes/no": pl.Boolean}.get(
            fact.type, pl.Float64)) for name, fact in FACTS.items()
    ]  # fmt: skip
    assert pl.DataFrame(columns).select(condition.expression()).item() is alone
    return alone


@pytest.mark.parametrize(
    ("tds", "holds"),
    [(8.8, True), (8.84, True), (8.86, None), (10.0, None), (11.14, None), (11.16, False)],
)
def test_between_the_guard_bands_nothing_is_decided(tds, holds):
    """1.644854 x 0.7 = 1.151398 to either side of 10: from 8.848602 to 11.151398."""
    assert answer("tds < most", tds, 0.7) is holds
    assert answer("tds <= most", tds, 0.7) is holds
    assert answer("most > tds", tds, 0.7) is holds
    assert answer("tds > most", tds, 0.7) is (None if holds is None else not holds)
    assert answer("not tds < most", tds, 0.7) is (None if holds is None else not holds)


def test_m4_is_decided_at_92_percent_and_open_at_93():
    """9 against 10 with 0.7 conforms with a probability of 0.923436."""
    assert answer("tds < most", 9.0, 0.7, 0.9234) is True
    assert answer("tds < most", 9.0, 0.7, 0.9235) is None


def test_m8_near_zero_the_distribution_is_cut_off():
    """0.5 against 1 with 0.6: 0.746351, where the plain normal would say 0.797672."""
    assert answer("tds < low", 0.5, 0.6, 0.746) is True
    assert answer("tds < low", 0.5, 0.6, 0.747) is None
    below_nothing = {"balance": 0.5, "uncertainty of balance": 0.6}
    assert guarded("balance < low", 0.797).of_one(below_nothing) is True
    assert guarded("balance < low", 0.798).of_one(below_nothing) is None


def test_above_a_limit_near_zero_the_same_cut_counts():
    """1 - 0.746351 = 0.253649 to be above 1: surely not above it at 74 %, open at 75 %."""
    assert answer("tds > low", 0.5, 0.6, 0.74) is False
    assert answer("tds > low", 0.5, 0.6, 0.75) is None


def test_a_lower_and_an_upper_limit_are_held_together():
    """M6: 1.5 in 1 ... 2 with 0.2 is 0.987581 probable, each side alone 0.993790."""
    limits = {**LIMITS, "high": Limit("high", unit("mg/L"), 2.0, None, "", None, "")}
    chained = parse_condition("low <= tds <= high", FACTS, limits)
    joined = parse_condition("tds <= high and low <= tds", FACTS, limits)
    for condition in (chained, joined):
        for confidence, holds in ((0.9875, True), (0.9877, None)):
            sure = guarded_condition(condition, FACTS, confidence)
            assert sure.of_one({"tds": 1.5, "uncertainty of tds": 0.2}) is holds
            assert len(guards_in(sure.verdict)) == 1


def test_far_outside_a_range_it_is_surely_not_kept():
    assert answer("least <= tds <= most", 12.0, 0.7) is False
    assert answer("least <= tds <= most", 0.1, 0.7) is False
    assert answer("least <= tds <= most", 6.0, 0.7) is True


def test_a_limit_in_another_unit_is_the_same_limit():
    """0.01 g/L is 10 mg/L; the uncertainty goes the way of its fact."""
    for tds, holds in ((8.84, True), (8.86, None), (11.16, False)):
        assert answer("tds < grams", tds, 0.7) is holds


def test_a_limit_by_grade_guards_each_grade():
    for grade, tds, holds in (
        ("a", 8.84, True),
        ("a", 18.0, False),
        ("b", 18.0, True),
        ("c", 1, None),
    ):
        assert answer("tds < each", float(tds), 0.7, grade=grade) is holds


def test_the_difference_of_two_uncertain_facts_has_the_root_of_their_squares():
    """sqrt(0.3^2 + 0.4^2) = 0.5, times 1.644854 is 0.822427: 9 and 9.82 are too close, 9.83 not."""
    for inlet, holds in ((9.82, None), (9.83, True)):
        more = {"inlet": inlet, "uncertainty of inlet": 0.4}
        assert answer("tds <= inlet", 9.0, 0.3, **more) is holds


def test_without_uncertainty_the_answer_is_the_simple_one_also_at_the_limit():
    for sign in ("<", "<=", ">", ">="):
        for tds in (9.0, 10.0, 10 * (1 + 5e-10), 11.0, 0.0):
            text = f"tds {sign} most"
            assert answer(text, tds, 0.0) is simple(text).of_one({"tds": tds})


@pytest.mark.parametrize("u", [None, math.nan, math.inf, -0.1])
def test_an_uncertainty_that_is_not_known_leaves_it_open(u):
    assert guarded("tds < most").of_one({"tds": 1.0, "uncertainty of tds": u}) is None


def test_a_certain_part_decides_as_ever():
    assert answer("tds < most and flowing", 9.5, 0.7, flowing=False) is False
    assert answer("tds < most or flowing", 9.5, 0.7, flowing=True) is True
    assert answer("tds < most and flowing", 5.0, 0.7, flowing=True) is True


def test_the_condition_says_that_it_reads_the_uncertainty():
    condition = guarded("flowing and tds < most")
    assert condition.names == ("flowing", "tds", "uncertainty of tds")
    assert condition.weighed == {"flowing", "tds", "uncertainty of tds"}
    assert guards_in(condition.verdict)[0].measured == ("tds",)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("certain < most", "no comparison here measures anything whose uncertainty is known"),
        ("tds + certain < most", "uncertainty is not carried through reckoning with 'tds'"),
        ("max(tds, inlet) < most", "reckoning with 'tds', 'inlet'"),
        ("abs(tds) < inlet", "reckoning with 'tds', 'inlet'"),
        ("tds == most", "'tds' is uncertain, and so never surely equal"),
        ("tds != most", "'tds' is uncertain, and so never surely equal"),
    ],
)
def test_what_cannot_be_guarded_is_refused(text, message):
    with pytest.raises(ConditionError, match=message):
        guarded(text)


def test_of_several_comparisons_the_one_that_decides_gives_the_probability():
    frame = pl.DataFrame(
        {"tds": [9.0], "uncertainty of tds": [0.7], "inlet": [9.5], "uncertainty of inlet": [0.7]}
    )
    alone, other = (guarded(f"{name} < most").verdict for name in ("tds", "inlet"))
    both = guarded("tds < most and inlet < most").verdict
    either = guarded("tds < most or inlet < most").verdict
    p, q, least, most = (
        frame.select(probability_of(one)).item() for one in (alone, other, both, either)
    )
    assert p == pytest.approx(0.923436, abs=5e-7)
    assert (least, most) == (q, p)
    assert frame.select(probability_of(guarded("not tds < most").verdict)).item() == 1 - p


NUMBERS = (None, 0.0, 0.4, 1.0, 1.9, 2.0, 5.0, 8.8, 9.0, 9.9, 10.0, 10.1, 11.2, 19.0, 300.0)
SPREADS = (None, 0.0, 0.05, 0.3, 0.7, 1.2, 3.0, 20.0)
ROWS = 120


def subjects():
    chance = random.Random(20260504)
    names = [name for name, fact in FACTS.items() if fact.type == "number"]
    columns = {
        name: [chance.choice(SPREADS if name.startswith("unc") else NUMBERS) for _ in range(ROWS)]
        for name in names
    }
    columns["grade"] = [chance.choice(("a", "b", "c", None)) for _ in range(ROWS)]
    columns["flowing"] = [chance.choice((True, False, None)) for _ in range(ROWS)]
    types = {"number": pl.Float64, "words": pl.String, "yes/no": pl.Boolean}
    frame = pl.DataFrame(columns, schema={name: types[FACTS[name].type] for name in columns})
    return frame, frame.to_dicts()


FRAME, SINGLE = subjects()

COMPARISON = st.builds(
    "{} {} {}".format,
    st.sampled_from(["tds", "inlet", "balance"]),
    st.sampled_from(["<", "<=", ">", ">="]),
    st.sampled_from(["most", "least", "low", "grams", "each", "certain", "inlet", "certain * 2"]),
) | st.sampled_from(["least <= tds <= most", "low < inlet < each", "least < balance < most"])
CONDITION = COMPARISON | st.builds(
    "{}({}) {} ({})".format,
    st.sampled_from(["", "not "]),
    COMPARISON,
    st.sampled_from(["and", "or"]),
    COMPARISON | st.sampled_from(["flowing", "certain < most"]),
)
CONFIDENCE = st.sampled_from([0.5, 0.8, 0.95, 0.99, 0.999])
laws = settings(deadline=None, derandomize=True, max_examples=60)


def tried(text, confidence):
    """The guarded condition, None where a fact is compared with itself or a pair is refused."""
    try:
        return guarded(text, confidence)
    except ConditionError:
        return None


@laws
@given(CONDITION, CONFIDENCE)
def test_columns_and_single_subjects_agree(text, confidence):
    condition = tried(text, confidence)
    if condition:
        assert FRAME.select(answer=condition.expression())["answer"].to_list() == [
            condition.of_one(one) for one in SINGLE
        ]


@laws
@given(
    st.sampled_from(["<", "<=", ">", ">="]), st.sampled_from(["most", "low", "each"]), CONFIDENCE
)
def test_guarded_and_simple_differ_where_the_probability_asks_for_it_and_nowhere_else(
    sign, limit, confidence
):
    """Every answer worked out anew from the probability of a normal distribution cut off at 0."""
    text = f"tds {sign} {limit}"
    condition, plain = guarded(text, confidence), simple(text)
    side = "upper" if sign in ("<", "<=") else "lower"
    for one in SINGLE:
        y, u, bound = one["tds"], one["uncertainty of tds"], LIMITS[limit].of_one(one)
        if not u or y is None or bound is None:
            continue
        p = float(conformance_probability(y, u, floor=0.0, **{side: bound}))
        if min(abs(p - confidence), abs(p - 1 + confidence)) < 1e-7:
            continue  # on the guard limit itself the slack of 1e-9 decides
        expected = True if p > confidence else False if p < 1 - confidence else None
        assert condition.of_one(one) is expected, one
        if expected is not None and confidence > 0.9 and y > 8.5 * u:
            assert expected is plain.of_one(one)


@settings(laws, max_examples=30)
@given(
    st.lists(st.tuples(st.floats(0, 40), st.floats(1e-6, 20)), min_size=1, max_size=60),
    st.sampled_from(["tds < most", "tds >= low", "least <= tds <= most"]),
    CONFIDENCE,
)
def test_the_quick_arithmetic_and_the_whole_probability_come_to_the_same(rows, text, confidence):
    """Compared as columns, away from the guard limits themselves, where the slack decides."""
    verdict = guarded(text, confidence).verdict
    frame = pl.DataFrame(rows, schema=["tds", "uncertainty of tds"], orient="row")
    told = frame.select(holds=verdict.expression(), p=probability_of(verdict))
    for holds, p in told.iter_rows():
        if min(abs(p - confidence), abs(p - 1 + confidence)) > 1e-7:
            assert holds is (True if p > confidence else False if p < 1 - confidence else None)


@settings(laws, max_examples=20)
@given(CONDITION)
def test_more_confidence_never_decides_what_less_left_open(text):
    if (less := tried(text, 0.9)) and (more := tried(text, 0.99)):
        for one in SINGLE:
            assert more.of_one(one) in (None, less.of_one(one))
