"""The handbook: the rules in force on a day, worded for the people who are held to them."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from itertools import groupby

from qa_engine.facts import SUBJECTS
from qa_engine.findings import GRADINGS
from qa_engine.plain_words import (
    example_in_words,
    in_words,
    named,
    noun,
    quantity,
    subject_in_words,
    term,
)
from qa_engine.plain_words.quantities import NO_BREAK
from qa_engine.report.handbook_history import EditionTold, history_of
from qa_engine.report.sentences import counted, day, listed, sentence_case
from qa_engine.rulesets import Edition, Limit, Rule

SHOWN_EXAMPLES = 3
"""How many examples of one outcome are printed; the rule file has them all."""

MEANINGS = {
    "major": "Stop, and put it right before going on.",
    "minor": "Put it right soon, as the correction says.",
    "advice": "Worth knowing and planning for.",
}
"""What each grading asks of people."""

OUTCOMES = {
    "conforms": "conforms",
    "does_not_conform": "does not conform",
    "undecided": "cannot be decided",
    "not_applicable": "does not apply",
}

JOBS = {
    "reading": "Reading the water",
    "rinse": "Rinsing",
    "resin_change": "Changing the resin",
    "seal_service": "Servicing a seal",
    "tank": "Every day: the tank",
    "charge": "Every day: the charge of resin",
    "van": "Every day: the van",
    "meter": "Every day: the meter",
    "meter_check": "Checking a meter",
    "vessel_service": "Having the vessel examined",
    "incident": "After an incident",
    "complaint": "After a complaint",
    "base": "At the base: spent resin",
    "disposal": "Handing on spent resin",
}
"""Headings by kind of subject, in the order in which people meet them."""

NOTICE = (
    "This handbook says what the records are held to. It approves no vessel and replaces neither "
    "the data plate nor local codes, nor the judgement of licensed or competent persons. Isolate a "
    "tank and see zero on its gauge before opening it."
)


@dataclass(frozen=True)
class LimitTold:
    """A limit of a rule: its name, its values with the word each goes by, and what it rests on."""

    name: str
    values: tuple[str, ...]
    basis: str
    review_by: str


@dataclass(frozen=True)
class Entry:
    """A rule, worded.

    Attributes:
        rule: the rule.
        must: what must hold, a sentence.
        judged: what is judged, a sentence.
        terms: what else governs it, a sentence each: time, uncertainty, exceptions.
        limits: its limits.
        examples: outcomes with some examples each.
    """

    rule: Rule
    must: str
    judged: str
    terms: tuple[str, ...]
    limits: tuple[LimitTold, ...]
    examples: tuple[tuple[str, tuple[str, ...]], ...]

    @property
    def at_a_glance(self) -> str:
        """Return what must hold and when, in one sentence."""
        rule = self.rule
        if not rule.applies_if:
            return self.must
        must = in_words(rule.requires.text, rule.limits)
        return f"If {in_words(rule.applies_if.text, rule.limits)}, then {must}."

    @property
    def key(self) -> str:
        """Return what names it in links."""
        return f"{self.rule.rule_set}--{self.rule.rule}"


@dataclass(frozen=True)
class Chapter:
    """A rule set: its edition in force, worded, and how it came to be."""

    edition: Edition
    entries: tuple[Entry, ...]
    history: tuple[EditionTold, ...]


@dataclass(frozen=True)
class Handbook:
    """The rules in force on a day.

    Attributes:
        on: the day.
        chapters: one for each rule set that has an edition in force.
        idle: the history of each rule set that has none.
    """

    on: date
    chapters: tuple[Chapter, ...]
    idle: tuple[tuple[EditionTold, ...], ...]

    @property
    def entries(self) -> tuple[Entry, ...]:
        """Return all entries, in the order of chapters."""
        return tuple(entry for chapter in self.chapters for entry in chapter.entries)

    @property
    def summary(self) -> str:
        """Return in a sentence what is in force."""
        if not self.chapters:
            return f"No requirement is in force on {day(self.on)}."
        grades = Counter[str](entry.rule.grading for entry in self.entries)
        counts = listed(f"{grades[grade]} {grade}" for grade in GRADINGS if grades[grade])
        total, sets = len(self.entries), counted(len(self.chapters), "rule set")
        verb = "is" if total == 1 else "are"
        what = f"{counted(total, 'requirement')} {verb} in force on {day(self.on)}"
        return f"{sentence_case(what)}, in {sets}: {counts}."

    @property
    def by_job(self) -> tuple[tuple[str, tuple[Entry, ...]], ...]:
        """Return the entries by the job at which people meet them, the gravest first."""
        order = list(dict.fromkeys((*JOBS, *SUBJECTS)))

        def place(entry: Entry) -> tuple[int, int]:
            return order.index(entry.rule.subject), GRADINGS.index(entry.rule.grading)

        found = groupby(sorted(self.entries, key=place), key=lambda entry: entry.rule.subject)
        return tuple((JOBS.get(kind) or sentence_case(named(kind)), tuple(e)) for kind, e in found)


def in_force_on(edition: Edition, on: date) -> bool:
    """Tell whether an edition is in force on a day."""
    return edition.in_force_from <= on <= (edition.in_force_until or date.max)


def handbook_of(editions: Iterable[Edition], on: date) -> Handbook:
    """Return the handbook of a day, from editions of any time as read from rule files."""
    chapters: list[Chapter] = []
    idle: list[tuple[EditionTold, ...]] = []
    ordered = sorted(editions, key=lambda one: (one.rule_set, one.in_force_from))
    for _, group in groupby(ordered, key=lambda one: one.rule_set):
        mine = list(group)
        history = history_of(mine, on)
        current = next((one for one in mine if in_force_on(one, on)), None)
        if current is None:
            idle.append(history)
        else:
            chapters.append(Chapter(current, tuple(map(entry_of, current.rules)), history))
    return Handbook(on, tuple(chapters), tuple(idle))


def entry_of(rule: Rule) -> Entry:
    """Return a rule, worded."""
    must = sentence_case(in_words(rule.requires.text, rule.limits)) + "."
    judged = sentence_case(subject_in_words(rule.subject))
    if rule.applies_if:
        judged += f", if {in_words(rule.applies_if.text, rule.limits)}"
    limits = tuple(_limit(limit) for limit in rule.limits.values())
    return Entry(rule, must, f"{judged}.", tuple(_terms(rule)), limits, tuple(_examples(rule)))


def _limit(limit: Limit) -> LimitTold:
    review = day(limit.review_by).replace(" ", NO_BREAK) if limit.review_by else ""
    if not limit.by:
        return LimitTold(named(limit.name), (quantity(limit.written),), limit.basis, review)
    name = f"{named(limit.name)}, by {noun(limit.by)}"
    return LimitTold(name, _by_word(limit), limit.basis, review)


def _by_word(limit: Limit) -> tuple[str, ...]:
    assert not isinstance(limit.values, float)
    unit = limit.unit.name
    return tuple(
        f"{word}: {quantity(f'{value:.12g} {unit}')}" for word, value in limit.values.items()
    )


def _terms(rule: Rule) -> Iterable[str]:
    if rule.within:
        yield f"It may still be fulfilled within {term(rule.within)} after the event."
    if rule.decision.confidence is not None:
        share = quantity(f"{rule.decision.confidence * 100:g} %")
        yield f"Allows for the uncertainty of the meter: a verdict must be {share} sure."
    if rule.permission == "never":
        yield "No exception is ever permitted."
    else:
        yield "An exception needs a permission, asked for by one person and approved by another."


def _examples(rule: Rule) -> Iterable[tuple[str, tuple[str, ...]]]:
    for outcome, words in OUTCOMES.items():
        mine = [e for e in rule.examples if e.listed_under == outcome]
        told = tuple(dict.fromkeys(example_in_words(example) for example in mine))
        if told:
            yield words, told[:SHOWN_EXAMPLES]
