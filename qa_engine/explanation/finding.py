"""A finding explained: judged again by itself, from the records and by the rule then in force."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from importlib.metadata import EntryPoint
from typing import Any

import polars as pl

from qa_engine.blocks import in_blocks
from qa_engine.conformity import DOES_NOT_CONFORM, PENDING
from qa_engine.coverage import OUTCOMES
from qa_engine.errors import QAEngineError, nearest
from qa_engine.explanation.deciding import Case, cases_of
from qa_engine.explanation.moments import moment
from qa_engine.explanation.sought import Search, Sought
from qa_engine.explanation.tree import Explanation, explain
from qa_engine.facts.fact import SUBJECTS, Fact
from qa_engine.facts.past import Past
from qa_engine.history import History
from qa_engine.inspection import Assignment, Course, RuleSources, with_what_works
from qa_engine.judging import NOT_IN_FORCE, InForce, Judged, judge, requirements_of
from qa_engine.plugin_host import Plugin, PluginHost
from qa_engine.rulesets import Edition

NAME_OF = {code: name for name, code in OUTCOMES.items()}
FORM = "a finding is named RULE_SET/RULE/SUBJECT_KIND/SUBJECT, as a report in JSON names it"


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


def explain_finding(
    finding: str,
    assignment: Assignment,
    entries: Iterable[EntryPoint],
    rules: Callable[[PluginHost], RuleSources],
) -> Explained:
    """Return why a finding is one; any subject of any rule can be named in the same way.

    Args:
        finding: ``rule set/rule/kind of subject/subject``. Of a finding with several members the
            last one is explained, since that is the one the report tells of.
        assignment: what was inspected, without a period.
        entries: the plugins to load.
        rules: gives the rule files, once it is known which plugins work.

    Raises:
        ExplanationError: there is no such rule or subject, or no edition was in force then.
        RuleSetError: a rule file cannot be used.
    """
    asked = _Asked.read(finding)
    return with_what_works(
        replace(assignment, period=None), entries, rules, lambda course: _explained(asked, course)
    )


@dataclass(frozen=True)
class _Asked:
    """What is to be explained, by its name."""

    finding: str
    rule_set: str
    rule: str
    kind: str
    subject: str

    @classmethod
    def read(cls, finding: str) -> "_Asked":
        parts = finding.split("/", 3)
        if len(parts) < 4 or not all(parts):
            raise ExplanationError(f"'{finding}' is not the name of a finding; {FORM}")
        if parts[2] not in SUBJECTS:
            hint = nearest(parts[2], SUBJECTS)
            raise ExplanationError(f"'{parts[2]}' is not a kind of subject; {hint or FORM}")
        return cls(finding, *parts)

    def mine(self, editions: Iterable[Edition]) -> tuple[Edition, ...]:
        """Return the editions that hold the rule, with no other rule in them."""
        editions = tuple(editions)
        of_set = [edition for edition in editions if edition.rule_set == self.rule_set]
        if not of_set:
            hint = nearest(self.rule_set, {edition.rule_set for edition in editions})
            raise ExplanationError(f"no rule set '{self.rule_set}' is loaded; {hint}".rstrip("; "))
        named = {rule.rule for edition in of_set for rule in edition.rules}
        if self.rule not in named:
            what = f"the rule set '{self.rule_set}' has no rule '{self.rule}'"
            raise ExplanationError(f"{what}; {nearest(self.rule, named)}".rstrip("; "))
        alone = (replace(e, rules=tuple(r for r in e.rules if r.rule == self.rule)) for e in of_set)
        return tuple(edition for edition in alone if edition.rules)


@dataclass(frozen=True)
class _Found:
    """The subject among those that were judged with it, by which rule, and on what past."""

    judged: Judged
    number: int
    place: int
    past: Past

    @property
    def outcome(self) -> int:
        return int(self.judged.outcomes[self.number][self.place])

    @property
    def in_force(self) -> InForce:
        version = int(self.judged.wording[self.number][self.place])
        return self.judged.requirements[self.number].editions[version]

    @property
    def subject(self) -> pl.DataFrame:
        return self.judged.subjects[self.place : self.place + 1]


def _explained(asked: _Asked, course: Course) -> Explained:
    alone = replace(course, editions=asked.mine(course.editions))
    row = _finding_row(asked, course)
    history = _history(course.assignment)
    found = _found(asked, alone, history, row)
    rule, outcome = found.in_force.rule, found.outcome
    known = found.judged.known.frame.row(found.place, named=True)
    why = explain(rule, known)
    if outcome not in (why.outcome, PENDING):
        what = f"'{asked.finding}' was judged {NAME_OF[outcome]}, but by itself it would be"
        raise ExplanationError(f"{what} {NAME_OF[why.outcome]}; please report this")
    failures = course.host.wall.failures
    search = Search(asked.kind, found.subject, found.past, course.catalogue, failures)
    return Explained(
        asked.finding,
        next(edition for edition in alone.editions if rule in edition.rules),
        why,
        NAME_OF[outcome],
        search.row,
        tuple(_cited(found, search, history)),
        {name: search.of_fact(name) for name in why.missing},
        dict(_cases(why, search)),
        row,
        tuple(plugin for plugin in course.host.plugins if plugin.state == "failed"),
        dict(course.host.wall.traces),
        _troubled(course),
    )


def _finding_row(asked: _Asked, course: Course) -> dict[str, Any] | None:
    """Return the finding as a report has it, None if there is none of that name.

    All rules are judged for it: a plugin that any of them makes fail is not there for the others.
    """
    findings = course.run().findings.filter(pl.col("finding") == asked.finding)
    return findings.row(-1, named=True) if findings.height else None


def _history(task: Assignment) -> History:
    frames = {k: f.filter(pl.col("at") <= task.as_of) for k, f in task.frames.items()}
    return History.of_records(frames, task.register)


def _found(
    asked: _Asked, course: Course, history: History, row: Mapping[str, Any] | None
) -> _Found:
    task, closed = course.assignment, False
    requirements = requirements_of(course.editions, task.register.zone)
    mine = [one for one in requirements if one.subject == asked.kind]
    if not mine:
        kinds = ", ".join(sorted({f"a {one.subject}" for one in requirements}))
        raise ExplanationError(f"'{asked.rule}' judges {kinds}, not a {asked.kind}")
    for batches, part in in_blocks(mine, history, task.blocks):
        past = course.past(part)
        for batch in batches:
            judged = judge(batch, past, course.catalogue, by_day=False)
            for number, place in _places(judged, asked, row):
                if judged.outcomes[number][place] != NOT_IN_FORCE:
                    return _Found(judged, number, place, past)
                closed = True
    if closed:
        raise ExplanationError(f"no edition of '{asked.rule_set}' was in force at that time")
    raise ExplanationError(
        f"there is no {asked.kind.replace('_', ' ')} '{asked.subject}' among the records up to "
        f"{moment(task.as_of, task.register.zone)}; see --as-of"
    )


def _places(
    judged: Judged, asked: _Asked, row: Mapping[str, Any] | None
) -> Iterator[tuple[int, int]]:
    """Yield where the subject was judged, or the last member of the finding that it begins."""
    subjects = judged.subjects
    for number, outcome in enumerate(judged.outcomes):
        if row is None:
            wanted = subjects["subject"] == asked.subject
        else:
            code = OUTCOMES[row["outcome"].replace(" ", "_")]
            last = (subjects["at"] == row["until"]) & subjects["item"].eq_missing(row["item"])
            wanted = last & pl.Series(outcome == code)
        yield from ((number, int(place)) for place in wanted.arg_true()[-1:])


def _cited(found: _Found, search: Search, history: History) -> Iterator[Cited]:
    """Yield the facts that the rule names, with the records that they came from."""
    known = found.judged.known
    row = known.frame.row(found.place, named=True)
    names = found.in_force.rule.needs
    records = {name: row[known.evidence[name]] for name in names if name in known.evidence}
    instants = history.instants_of({record for record in records.values() if record})
    for name in names:
        record = records.get(name)
        yield Cited(search.facts.get(name), name, row[name], record, instants.get(record or ""))


def _cases(why: Explanation, search: Search) -> Iterator[tuple[str, list[Case]]]:
    """Yield for each fact that another value could settle the outcomes of its values."""
    names: Iterable[str] = why.missing
    if why.outcome == DOES_NOT_CONFORM:
        failing = (part for part in why.requires.comparisons if part.decisive)
        names = dict.fromkeys(name for part in failing for name in part.names)
    for name in names:
        if name in search.facts:
            yield name, cases_of(why.rule, why.known, search.facts[name])


def _troubled(course: Course) -> int:
    """Return how many rules need something that failed plugins would have told."""
    troubled = course.troubles()
    rules = (rule for edition in course.editions for rule in edition.rules)
    return sum(any(name in troubled for name in rule.needs) for rule in rules)
