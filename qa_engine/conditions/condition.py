"""A condition as rules hold it: its text, the names in it, and its two faces."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field

import polars as pl

from qa_engine.conditions.checking import Checker, Vocabulary
from qa_engine.conditions.grammar import Fault, read_form
from qa_engine.conditions.limit import Limit
from qa_engine.conditions.numbers import Subject
from qa_engine.conditions.verdicts import Verdict
from qa_engine.errors import QAEngineError
from qa_engine.facts.fact import Fact


class ConditionError(QAEngineError):
    """A condition cannot be used as written; ``faults`` say where and why."""

    def __init__(self, text: str, faults: Iterable[Fault]) -> None:
        self.text, self.faults = text, tuple(faults)
        lines = (f"character {fault.offset + 1}: {fault.message}" for fault in self.faults)
        super().__init__("\n".join((f"in the condition {text!r}:", *lines)))


@dataclass(frozen=True)
class Condition:
    """A condition, checked.

    Attributes:
        text: as written.
        names: the facts it names, in order of appearance, unknown ones included.
        limit_names: the limits it names.
        weighed: the facts whose value it uses; of the others it only asks if they are recorded.
        unknown: the names that are not known; what they stand in is open.
        verdict: its tree.
    """

    text: str
    names: tuple[str, ...]
    limit_names: tuple[str, ...]
    weighed: frozenset[str]
    unknown: tuple[str, ...]
    verdict: Verdict = field(repr=False)

    def expression(self) -> pl.Expr:
        """Return whether it holds, over columns named as the facts; null is undecided.

        Columns hold numbers in the fact's own unit, finite or null. If no name in it is known, the
        expression is a single null.
        """
        return self.verdict.expression()

    def of_one(self, subject: Subject) -> bool | None:
        """Return whether it holds for one subject, None if that is undecided."""
        return self.verdict.of_one(subject)


def parse_condition(
    text: str,
    facts: Mapping[str, Fact],
    limits: Mapping[str, Limit],
    *,
    subject: str = "subject",
    unsure: Collection[str] = (),
    all_unsure: bool = False,
) -> Condition:
    """Return the condition that a text is.

    Args:
        text: as the rule writes it.
        facts: the facts of the subject, by name.
        limits: the limits of the rule, by name.
        subject: the kind of subject, for messages.
        unsure: names whose own fault is already known; what they stand in is open.
        all_unsure: whether any unknown name is taken so, as while a plugin is out of order.

    Raises:
        ConditionError: it cannot be used; all faults that could be found are in it.
    """
    form = read_form(text)
    if isinstance(form, Fault):
        raise ConditionError(text, [form])
    checker = Checker(text, Vocabulary(facts, limits, subject, unsure, all_unsure))
    verdict = checker.verdict(form)
    if not checker.faults and not checker.names:
        what = "the condition names no fact, so it would say the same of every subject"
        checker.faults.append(Fault(0, what, "name a fact"))
    if checker.faults:
        raise ConditionError(text, sorted(checker.faults, key=lambda fault: fault.offset))
    found = (checker.names, checker.limits, checker.unknown)
    names, limit_names, unknown = (tuple(group) for group in found)
    return Condition(text, names, limit_names, frozenset(checker.weighed), unknown, verdict)
