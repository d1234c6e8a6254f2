"""A finding explained: judged again by itself, from the records and by the rule then in force."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property
from typing import Any

import polars as pl

from qa_engine.conformity import DOES_NOT_CONFORM, PENDING
from qa_engine.coverage import OUTCOMES
from qa_engine.errors import QAEngineError
from qa_engine.explanation.deciding import Case, cases_of
from qa_engine.explanation.evidence import Evidence
from qa_engine.explanation.sought import Search, Sought
from qa_engine.explanation.tree import Explanation, explain
from qa_engine.facts.fact import Fact
from qa_engine.inspection import Course
from qa_engine.judging import Judged
from qa_engine.plugin_host import Plugin
from qa_engine.rulesets import Edition, Rule

NAME_OF = {code: name for name, code in OUTCOMES.items()}


class ExplanationError(QAEngineError):
    """What is to be explained is not there, or its explanation would not be true."""


@dataclass(frozen=True)
class Cited:
    """A fact of the subject that the rule names.

    Attributes:
        fact: its declaration; None if no plugin that works knows it.
        name: its name.
        value: its value; None if it is missing.
        record, at: the record that it came from and its instant, as far as known.
    """

    fact: Fact | None
    name: str
    value: object
    record: str | None
    at: datetime | None


@dataclass(frozen=True)
class Explained:
    """A finding, or any other verdict, with all that it rests on.

    Attributes:
        finding: its name.
        edition: the edition that judged.
        why: its conditions for this subject, part by part.
        outcome: the outcome as a report names it; pending while time is left.
        subject: the subject as judged: instant, item, van, tank and so on.
        cited: the facts that the rule names, with their records.
        sought: what was looked for, for each missing fact that leaves the verdict open.
        cases: what outcome each value of a fact would bring: of facts that are missing where the
            verdict is open, of those that it failed by where it does not conform.
        finding_row: the finding as a report has it; None if the verdict is no finding.
        failed: the plugins that failed, and are not part of this.
        traces: where in their code they failed, by name.
        troubled: how many rules in all need what failed plugins would have told.
    """

    finding: str
    edition: Edition
    why: Explanation
    outcome: str
    subject: Mapping[str, Any]
    cited: tuple[Cited, ...]
    sought: Mapping[str, Sought]
    cases: Mapping[str, Sequence[Case]]
    finding_row: Mapping[str, Any] | None
    failed: tuple[Plugin, ...]
    traces: Mapping[str, str]
    troubled: int


@dataclass(frozen=True)
class Member:
    """A subject to be explained, among those that were judged with it.

    Attributes:
        finding: the name of its verdict.
        requirement: the place of its requirement among those it was judged by.
        place: its place among the subjects.
        row: the finding that it is the last member of; None if the verdict is no finding.
    """

    finding: str
    requirement: int
    place: int
    row: Mapping[str, Any] | None


@dataclass(frozen=True)
class Explainer:
    """Explains what was judged in one course of an inspection."""

    course: Course
    _found: dict[tuple[int, str, str], list[Case]] = field(
        default_factory=dict, repr=False, compare=False
    )

    def findings(self, judged: Judged, told: pl.DataFrame) -> Iterator[Explained]:
        """Yield explanations of findings, in their order.

        Args:
            judged: what they were found in.
            told: the findings, with the columns of ``qa_engine.findings.last_members``.
        """
        rows = told.drop("requirement", "place").iter_rows(named=True)
        places = told.select("requirement", "place").iter_rows()
        members = [
            Member(row["finding"], number, place, row)
            for row, (number, place) in zip(rows, places, strict=True)
        ]
        yield from self.members(judged, members)

    def members(self, judged: Judged, members: Sequence[Member]) -> Iterator[Explained]:
        """Yield explanations of subjects that were judged together; facts are found once for all.

        Raises:
            ExplanationError: a subject by itself would have another outcome.
        """
        places = sorted({member.place for member in members})
        kind = judged.requirements[0].subject
        evidence = Evidence(kind, judged.subjects[places], judged.past, self.course.catalogue)
        known = dict(zip(places, judged.known.frame[places].to_dicts(), strict=True))
        cited = {row[column] for row in known.values() for column in judged.known.evidence.values()}
        instants = judged.past.history.instants_of(cited - {None}) if cited else {}
        failures = self.course.host.wall.failures
        searches = {p: Search(evidence, number, failures) for number, p in enumerate(places)}
        for one in members:
            yield self._explained(one, judged, known[one.place], searches[one.place], instants)

    def _explained(
        self,
        member: Member,
        judged: Judged,
        known: Mapping[str, Any],
        search: Search,
        instants: Mapping[str, datetime],
    ) -> Explained:
        rule = _rule(judged, member)
        why = explain(rule, {name: known[name] for name in rule.needs})
        outcome = _outcome(judged, member, why)
        evidence = judged.known.evidence
        records = {n: known[evidence[n]] if n in evidence else None for n in rule.needs}
        return Explained(
            member.finding,
            self._editions[id(rule)],
            why,
            outcome,
            search.row,
            tuple(_cited(why, search, records, instants)),
            {name: search.of_fact(name) for name in why.missing},
            {name: self._cases(why, search.facts[name]) for name in _wanted(why, search)},
            member.row,
            self._failed,
            dict(self.course.host.wall.traces),
            self._troubled,
        )

    def _cases(self, why: Explanation, fact: Fact) -> list[Case]:
        """Return what each value of a fact would bring; asked once for all that are known alike."""
        known = {**why.known, fact.name: None}
        key = (id(why.rule), fact.name, repr(known))
        if key not in self._found:
            self._found[key] = cases_of(why.rule, known, fact)
        return self._found[key]

    @cached_property
    def _editions(self) -> Mapping[int, Edition]:
        """Return the edition of each rule, by the identity of the rule."""
        return {id(rule): edition for edition in self.course.editions for rule in edition.rules}

    @cached_property
    def _failed(self) -> tuple[Plugin, ...]:
        return tuple(plugin for plugin in self.course.host.plugins if plugin.state == "failed")

    @cached_property
    def _troubled(self) -> int:
        """Return how many rules need something that failed plugins would have told."""
        troubled = self.course.troubles()
        rules = (rule for edition in self.course.editions for rule in edition.rules)
        return sum(any(name in troubled for name in rule.needs) for rule in rules)


def _rule(judged: Judged, member: Member) -> Rule:
    """Return the rule in the wording that was in force."""
    version = int(judged.wording[member.requirement][member.place])
    return judged.requirements[member.requirement].editions[version].rule


def _outcome(judged: Judged, member: Member, why: Explanation) -> str:
    """Return the outcome as it was judged, if the subject by itself has the same."""
    outcome = int(judged.outcomes[member.requirement][member.place])
    if outcome not in (why.outcome, PENDING):
        what = f"'{member.finding}' was judged {NAME_OF[outcome]}, but by itself it would be"
        raise ExplanationError(f"{what} {NAME_OF[why.outcome]}; please report this")
    return NAME_OF[outcome]


def _cited(
    why: Explanation,
    search: Search,
    records: Mapping[str, str | None],
    instants: Mapping[str, datetime],
) -> Iterator[Cited]:
    """Yield the facts that the rule names, with the records that they came from."""
    for name in why.rule.needs:
        record = records[name]
        at = instants.get(record or "")
        yield Cited(search.facts.get(name), name, why.known[name], record, at)


def _wanted(why: Explanation, search: Search) -> Iterator[str]:
    """Yield the facts of which another value could settle the verdict."""
    names: Iterable[str] = why.missing
    if why.outcome == DOES_NOT_CONFORM:
        failing = (part for part in why.requires.comparisons if part.decisive)
        names = dict.fromkeys(name for part in failing for name in part.names)
    yield from (name for name in names if name in search.facts)
