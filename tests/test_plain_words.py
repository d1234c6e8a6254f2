"""Conditions in plain words: they say what the condition says, and read aloud."""

from datetime import date, timedelta

import pytest

from qa_engine.conditions import Limit, read_quantity
from qa_engine.facts import ENGINE_FACTS, SUBJECTS
from qa_engine.facts.catalogue import Catalogue
from qa_engine.plain_words import (
    example_in_words,
    in_words,
    named,
    quantity,
    subject_in_words,
    term,
)
from qa_engine.plain_words.things import DAYS_TO, NOUNS, STATEMENTS
from qa_engine.rulesets import Example


def limit(name, written, by=None):
    """Return a limit, given per word if ``by`` names a fact."""
    number, unit = read_quantity(written)
    values = {"standard mixed bed": number} if by else number
    return Limit(name, unit, values, by, "common practice", date(2027, 1, 1), written)


LIMITS = {
    "house_limit": limit("house_limit", "20 mg/L"),
    "least": limit("least", "10 uS/cm"),
    "most": limit("most", "200 uS/cm"),
    "share": limit("share", "10 %"),
    "due_day": limit("due_day", "0 d"),
    "notice": limit("notice", "14 d"),
    "often": limit("often", "12 count"),
    "graded": limit("graded", "5 mg/L", by="grade"),
    "step": limit("step", "1 mg/L"),
}


def told(text):
    """Return a condition in words, with common spaces."""
    return in_words(text, LIMITS).replace("\N{NO-BREAK SPACE}", " ")


@pytest.mark.parametrize(
    ("condition", "words"),
    [
        ("outlet_tds < house_limit", "outlet TDS is below 20 mg/L"),
        ("outlet_tds <= house_limit", "outlet TDS is at most 20 mg/L"),
        ("outlet_tds > house_limit", "outlet TDS is above 20 mg/L"),
        ("outlet_tds >= house_limit", "outlet TDS is at least 20 mg/L"),
        ("outlet_tds == house_limit", "outlet TDS is 20 mg/L"),
        ("outlet_tds != house_limit", "outlet TDS is not 20 mg/L"),
        ("not outlet_tds < house_limit", "outlet TDS is at least 20 mg/L"),
        ("not outlet_tds <= house_limit", "outlet TDS is above 20 mg/L"),
        ("not outlet_tds == house_limit", "outlet TDS is not 20 mg/L"),
        ("house_limit > outlet_tds", "outlet TDS is below 20 mg/L"),
        ("house_limit <= outlet_tds", "outlet TDS is at least 20 mg/L"),
        ("outlet_tds <= inlet_tds", "outlet TDS is at most inlet TDS"),
        ("rinses_since_reading <= often", "the number of vehicles rinsed since the outlet was last "
         "read is at most 12"),
        ("outlet_tds_after <= graded", "outlet TDS after the change is at most the graded for the "
         "grade of the resin"),
    ],
)  # fmt: skip
def test_each_comparison_has_words_of_its_own(condition, words):
    assert told(condition) == words


@pytest.mark.parametrize(
    ("condition", "words"),
    [
        ("least <= standard_conductivity <= most",
         "the conductivity of the standard is from 10 µS/cm to 200 µS/cm"),
        ("least < standard_conductivity <= most",
         "the conductivity of the standard is above 10 µS/cm and at most 200 µS/cm"),
        ("not least <= standard_conductivity <= most",
         "the conductivity of the standard is below 10 µS/cm or above 200 µS/cm"),
        ("freeboard_min <= freeboard <= freeboard_max",
         "the freeboard is at least the least freeboard in the register and at most the greatest "
         "freeboard in the register"),
        ("abs(water_logged - water_counted) <= share * water_counted",
         "the difference between the water as logged and the water by the counter is at most 10 % "
         "of the water by the counter"),
        ("inlet_tds <= 0.5 * (outlet_tds + step)",
         "inlet TDS is at most 0.5 times (outlet TDS plus 1 mg/L)"),
        ("inlet_tds - (outlet_tds - step) > step",
         "inlet TDS less (outlet TDS less 1 mg/L) is above 1 mg/L"),
        ("min(inlet_tds, outlet_tds) > -step",
         "the least of inlet TDS, outlet TDS is above minus 1 mg/L"),
    ],
)  # fmt: skip
def test_bounds_and_sums_are_told_whole(condition, words):
    assert told(condition) == words


@pytest.mark.parametrize(
    ("condition", "words"),
    [
        ("vessel_due_in >= due_day",
         "the day on which the next service of the vessel is due has not passed"),
        ("vessel_due_in < due_day",
         "the day on which the next service of the vessel is due has passed"),
        ("vessel_due_in > notice",
         "the day on which the next service of the vessel is due is above 14 days away"),
        ("standard_use_by_in >= 0", "the use-by date of the standard has not passed"),
    ],
)  # fmt: skip
def test_days_left_are_told_as_a_date(condition, words):
    assert told(condition) == words


@pytest.mark.parametrize(
    ("condition", "words"),
    [
        ("recorded(lot)", "the lot of the resin is recorded"),
        ("not recorded(lot)", "the lot of the resin is not recorded"),
        ("recorded(grade) and recorded(lot)",
         "the grade of the resin and the lot of the resin are recorded"),
        ("recorded(inlet_tds) or recorded(inlet_conductivity)",
         "inlet TDS or inlet conductivity is recorded"),
        ("not (recorded(inlet_tds) or recorded(inlet_conductivity))",
         "neither inlet TDS nor inlet conductivity is recorded"),
        ("not (recorded(inlet_tds) and recorded(inlet_conductivity))",
         "inlet TDS or inlet conductivity is not recorded"),
        ("(recorded(inlet_tds) or recorded(inlet_conductivity)) and recorded(by)",
         "inlet TDS or inlet conductivity is recorded, and who did it is recorded"),
    ],
)  # fmt: skip
def test_what_is_recorded_is_told_together(condition, words):
    assert told(condition) == words


@pytest.mark.parametrize(
    ("condition", "words"),
    [
        ('sampled == "flowing" and not softening_bed',
         "the water sampled is “flowing” and the bed is not a softening bed"),
        ('change == "topped up" or change == "emptied and refilled"',
         "the kind of change is “topped up” or “emptied and refilled”"),
        ('change in ("topped up", "emptied and refilled")',
         "the kind of change is “topped up” or “emptied and refilled”"),
        ('change not in ("topped up", "emptied and refilled")',
         "the kind of change is neither “topped up” nor “emptied and refilled”"),
        ('change != "topped up" and change != "emptied and refilled"',
         "the kind of change is neither “topped up” nor “emptied and refilled”"),
        ('not (change == "topped up" or change == "emptied and refilled")',
         "the kind of change is neither “topped up” nor “emptied and refilled”"),
        ('(change == "topped up" and isolated) or not riser_checked',
         "either the kind of change is “topped up” and the tank was isolated, or the riser was not "
         "checked"),
        ("not (isolated and riser_checked)",
         "the tank was not isolated or the riser was not checked"),
        ("tide_is_high and not tide_is_high", "“tide is high” is yes and “tide is high” is no"),
    ],
)  # fmt: skip
def test_and_or_not_are_told_without_doubt(condition, words):
    assert told(condition) == words


@pytest.mark.parametrize(
    ("written", "shown"),
    [
        ("20 mg/L", "20 mg/L"),
        ("42.70 uS/cm", "42.70 µS/cm"),
        ("40 degC", "40 °C"),
        ("15 gpm/ft2", "15 gpm/ft²"),
        ("0.46 mg/L per uS/cm", "0.46 mg/L per µS/cm"),
        ("1 d", "1 day"),
        ("0 d", "0 days"),
        ("12 count", "12"),
        ("0.8", "0.8"),
        ("10 %", "10 %"),
        ("flowing", "flowing"),
    ],
)
def test_quantities_keep_their_digits_and_never_part_from_their_unit(written, shown):
    assert quantity(written) == shown.replace(" ", "\N{NO-BREAK SPACE}", 1)


@pytest.mark.parametrize(
    ("length", "shown"),
    [
        (timedelta(days=2), "2 days"),
        (timedelta(hours=36), "36 hours"),
        (timedelta(minutes=90), "90 min"),
    ],
)
def test_a_length_of_time_is_told_in_its_plainest_unit(length, shown):
    assert term(length).replace("\N{NO-BREAK SPACE}", " ") == shown


def test_an_example_says_what_is_known_and_what_is_not():
    stated = {"outlet_tds": "19.9 mg/L", "sampled": "flowing", "softening_bed": "no", "lot": None}
    known = example_in_words(Example("conforms", stated, ())).replace("\N{NO-BREAK SPACE}", " ")
    assert known == (
        "outlet TDS is 19.9 mg/L; the water sampled is “flowing”; the bed is not a softening bed; "
        "the lot of the resin is not recorded"
    )
    assert example_in_words(Example("undecided", {}, ())) == "nothing is known"
    assert example_in_words(Example("does_not_conform", {}, ())) == "nothing is recorded"
    assert example_in_words(Example("undecided", {"isolated": "yes"}, ())) == (
        "the tank was isolated; the rest is not known"
    )


def test_a_waste_code_is_a_word_though_it_begins_with_a_digit():
    coded = example_in_words(Example("conforms", {"waste_code": "19 08 06*"}, ()))
    assert coded == "the waste code is “19 08 06*”"


def test_names_keep_their_capitals():
    assert (named("outlet_tds"), named("ph"), named("graph")) == ("outlet TDS", "pH", "graph")
    assert subject_in_words("resin_change") == "every resin change"


def test_the_words_are_for_facts_that_exist_and_each_is_listed_once():
    catalogue = Catalogue.of(ENGINE_FACTS)
    facts = {n: f for subject in SUBJECTS for n, f in catalogue.facts_of(subject).items()}
    facts |= {"rated_rinses": None}  # of a plugin that ships
    listed = [*NOUNS, *DAYS_TO, *STATEMENTS]
    assert len(listed) == len(set(listed))
    assert set(listed) <= set(facts)
    assert {n for n in STATEMENTS if facts[n].type != "yes/no"} == set()
    left = {name for name, fact in facts.items() if fact and fact.per_day < 0}
    assert set(DAYS_TO) == left


def test_every_fact_that_is_yes_or_no_has_a_sentence():
    catalogue = Catalogue.of(ENGINE_FACTS)
    facts = (fact for subject in SUBJECTS for fact in catalogue.facts_of(subject).values())
    assert {fact.name for fact in facts if fact.type == "yes/no"} <= set(STATEMENTS)
