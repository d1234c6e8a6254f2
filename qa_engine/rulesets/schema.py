"""The form of a rule file: which keys there are and what stands under each."""

from typing import Any

from marshmallow import RAISE, Schema

from qa_engine.facts.fact import SUBJECTS
from qa_engine.records import KINDS
from qa_engine.rulesets.parts import (
    UNKNOWN,
    CalendarDay,
    Examples,
    KindOrPart,
    Listed,
    Name,
    OneOf,
    Part,
    PerName,
    Sentence,
    Value,
)
from qa_engine.rulesets.rule import LISTED_UNDER

MOST_RULES = 2000
"""Most rules of an edition."""

MOST_EXAMPLES = 100
"""Most examples of a rule under one outcome."""

_OF_MAPPINGS = {"unknown": UNKNOWN, "type": "keys and values are expected here"}


class Strict(Schema):
    """A mapping that has no keys but those declared."""

    error_messages = _OF_MAPPINGS

    class Meta:
        unknown = RAISE


def _kebab(**kw: Any) -> Name:
    expected = "small letters and digits joined by hyphens, such as rinse-water"
    return Name(r"[a-z0-9]+(-[a-z0-9]+)*", expected, **kw)


class InForceForm(Strict):
    """From which day an edition judges, and until which."""

    class Meta:
        unknown = RAISE
        include = {"from": CalendarDay(required=True)}  # noqa: RUF012 - the way to declare a reserved word

    until = CalendarDay()


class LimitForm(Strict):
    """A limit, with what it rests on."""

    class Meta:
        unknown = RAISE
        include = {"is": Value(required=True)}  # noqa: RUF012 - the way to declare a reserved word

    basis = Sentence(required=True)
    review_by = CalendarDay()
    by = Sentence()


class DecisionForm(Strict):
    """How uncertainty of measurement is to enter the verdict."""

    acceptance = OneOf("simple", "guarded", required=True)
    confidence = Sentence()


class ExamplesForm(Strict):
    """Made-up subjects by the outcome they must be given."""

    conforms, does_not_conform, undecided, not_applicable = (
        Examples(MOST_EXAMPLES) for _ in LISTED_UNDER
    )


class SettlingForm(Strict):
    """The record that logs the work which a failure calls for, and what it must state."""

    kind = OneOf(*KINDS, required=True)
    where = Sentence()


class RuleForm(Strict):
    """A rule."""

    rule = _kebab(required=True)
    title = Sentence(required=True)
    subject = OneOf(*SUBJECTS, required=True)
    applies_if = Sentence()
    requires = Sentence(required=True)
    basis = Sentence()
    limits = PerName(LimitForm())
    within = Sentence()
    decision = Part(DecisionForm)
    grading = OneOf("major", "minor", "advice", required=True)
    says = Sentence(required=True)
    correction = Sentence(required=True)
    caution = Sentence()
    permission = OneOf("by request", "never")
    affects = OneOf("reading", "rinse")
    settled_by = KindOrPart(SettlingForm)
    stands_until = OneOf("conforming verdict", "settling record")
    examples = Part(ExamplesForm, required=True)


class RuleSetForm(Strict):
    """A rule file; its rules are checked one by one."""

    rule_set = _kebab(required=True)
    title = Sentence(required=True)
    edition = Name(r"[0-9A-Za-z]+([.-][0-9A-Za-z]+)*", "a name such as 2026-04", required=True)
    in_force = Part(InForceForm, required=True)
    owner = Sentence(required=True)
    rules = Listed(MOST_RULES, required=True)
