"""The kit for facts: right groups pass, each planted fault meets the law meant for it."""

import polars as pl
import pytest

from qa_engine.facts import ENGINE_FACTS, Fact, FactGroup
from qa_engine.history import latest
from qa_engine.plugin_host import installed_plugins, open_host
from qa_engine.testing import FACT_LAWS, BrokenLawError, breaches_of_facts, check_facts

LAWS = {law.name: law for law in FACT_LAWS}
FRONT = Fact("last_colour_front", "number", "colour front when last noted", "%", low=0, high=100)


def fronts(past):
    return past.history.of("reading", "tank", "at", "record", "colour_front").drop_nulls()


def right(subjects, past):
    found = latest(subjects, fronts(past), by="tank", take=["colour_front", "record"])
    return found.select(pl.col("colour_front").alias("last_colour_front"), evidence="record")


def of_the_tank(subjects, past, *value):
    """Return one number of all readings of a tank, whenever they were taken."""
    each = fronts(past).group_by("tank").agg(*value)
    return subjects.select("tank").join(each, on="tank", how="left", maintain_order="left")


def looks_ahead(subjects, past):
    last = pl.col("colour_front").sort_by("at", "record").last().alias("last_colour_front")
    return of_the_tank(subjects, past, last)


def of_the_fleet(subjects, past):
    """Take the number of tanks looked at for a fact of one of them."""
    return of_every_subject(subjects, past.history.tanks().len())


def count_of_subjects(subjects, past):
    return of_every_subject(subjects, subjects.height)


def of_every_subject(subjects, number):
    return pl.DataFrame({"last_colour_front": [float(number)] * subjects.height})


class Counts:
    """Counts how often it was asked."""

    times = 0

    def __call__(self, subjects, past):
        self.times += 1
        return of_every_subject(subjects, self.times % 100)


def negative(subjects, past):
    return right(subjects, past).with_columns(pl.col("last_colour_front") * -1.0 - 1.0)


def one_row(subjects, past):
    return right(subjects, past).head(1)


def after(subjects, past):
    """Tell what the front will be, which a group that looks ahead may."""
    late = subjects.select(pl.col("until").alias("at"), "tank")
    return latest(late, fronts(past), by="tank", take=["colour_front"]).select(
        pl.col("colour_front").alias("last_colour_front")
    )


def not_a_number(subjects, past):
    return right(subjects, past).with_columns(pl.col("last_colour_front").fill_null(float("nan")))


def raises(subjects, past):
    raise KeyError("bead size")


def group(find=right, fact=FRONT, subjects=("tank", "rinse"), **more):
    return FactGroup(subjects=subjects, facts=(fact,), find=find, **more)


PLANTED = {
    "looks ahead": (group(looks_ahead), "later-records-change-no-fact"),
    "counts what is asked": (group(count_of_subjects), "other-subjects-change-no-fact"),
    "counts how often": (group(Counts()), "same-question-same-answer"),
    "of the fleet": (group(of_the_fleet), "blocks-of-tanks-change-no-fact"),
    "below its range": (group(negative), "numbers-lie-in-their-range"),
    "one row": (group(one_row), "facts-stand-beside-their-subjects"),
    "not a number": (group(not_a_number), "facts-stand-beside-their-subjects"),
    "raises": (group(raises), "facts-stand-beside-their-subjects"),
    "unknown unit": (group(fact=Fact("shade", "number", "grey", "shades")), "facts-are-declared"),
    "no unit": (group(fact=Fact("shade", "number", "grey")), "facts-are-declared"),
    "no meaning": (group(fact=Fact("shade", "words", " ")), "facts-are-declared"),
    "no name": (group(fact=Fact("Shade of grey", "words", "grey")), "facts-are-declared"),
    "unknown subject": (group(subjects=("bucket",)), "facts-are-declared"),
}
"""What is wrong, the group, and the law that is meant for it."""


def broken_by(fault):
    facts, law = PLANTED[fault]
    with pytest.raises(BrokenLawError) as broken:
        LAWS[law].check(facts)
    return broken.value


@pytest.mark.parametrize("law", FACT_LAWS, ids=str)
def test_a_right_group_keeps(law):
    law.check(group())


@pytest.mark.parametrize("fault", PLANTED)
def test_a_planted_fault_is_caught_by_the_law_that_is_meant_for_it(fault):
    assert broken_by(fault).law == PLANTED[fault][1]


def test_every_law_has_a_fault_planted_for_it():
    assert {law for _, law in PLANTED.values()} == set(LAWS)


def test_facts_that_ship_in_plugins_keep_every_law():
    groups = open_host(installed_plugins()).groups
    assert [fact.name for one in groups for fact in one.facts] == ["rated_rinses"]
    check_facts(groups[0])


def test_facts_of_the_engine_keep_every_law():
    """One small group stands for all, which ``test_fact_laws`` tries together."""
    check_facts(next(one for one in ENGINE_FACTS if one.facts[0].name == "head_seal_age"))


def test_a_group_that_looks_ahead_may_do_so_up_to_its_until():
    LAWS["later-records-change-no-fact"].check(group(after, looks_ahead=True))


def test_a_group_that_is_not_declared_rightly_is_told_nothing_else():
    assert [one.law for one in breaches_of_facts(PLANTED["unknown unit"][0])] == [
        "facts-are-declared"
    ]


@pytest.mark.parametrize(
    ("fault", "said"),
    [
        ("raises", "KeyError: 'bead size'"),
        ("one row", "returned 1 rows for"),
        ("not a number", "returned NaN or infinity; what is unknown must be null"),
        ("below its range", "beyond its range 0 to 100, for a tank"),
        ("unknown unit", "'shades' is not a unit"),
        ("looks ahead", "changes when records come in that are later"),
        ("unknown subject", "there are no subjects 'bucket'"),
    ],
)
def test_a_breach_says_what_is_wrong(fault, said):
    assert said in broken_by(fault).wrong
