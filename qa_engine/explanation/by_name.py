"""The explanation of a verdict that is asked for by name, whether it is a finding or not."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from importlib.metadata import EntryPoint

import polars as pl

from qa_engine.blocks import in_blocks
from qa_engine.errors import nearest
from qa_engine.explanation.finding import Explained, Explainer, ExplanationError, Member
from qa_engine.explanation.moments import moment
from qa_engine.facts.fact import SUBJECTS
from qa_engine.history import History
from qa_engine.inspection import Assignment, Course, RuleSources, with_what_works
from qa_engine.judging import NOT_IN_FORCE, Judged, Requirement, judge, requirements_of
from qa_engine.plugin_host import PluginHost
from qa_engine.rulesets import Edition

FORM = "a finding is named RULE_SET/RULE/SUBJECT_KIND/SUBJECT, as a report in JSON names it"


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


def _explained(asked: _Asked, course: Course) -> Explained:
    """Return the explanation of a finding, else that of a verdict which is none.

    All rules are judged for it: a plugin that any of them makes fail is not there for the others.
    """
    explainer, found = Explainer(course), list[Explained]()
    alone = replace(course, editions=asked.mine(course.editions))

    def watch(judged: Judged, told: pl.DataFrame) -> None:
        if (mine := told.filter(pl.col("finding") == asked.finding)).height:
            found.extend(explainer.findings(judged, mine))

    replace(course, watch=watch).run()
    return found[-1] if found else _no_finding(asked, alone, explainer)


def _no_finding(asked: _Asked, course: Course, explainer: Explainer) -> Explained:
    """Return the explanation of a verdict that is no finding, by the one rule that is asked."""
    closed = False
    for judged in _judged(asked, course):
        for number, place in _places(judged, asked):
            if judged.outcomes[number][place] != NOT_IN_FORCE:
                member = Member(asked.finding, number, place, None)
                return next(explainer.members(judged, [member]))
            closed = True
    if closed:
        raise ExplanationError(f"no edition of '{asked.rule_set}' was in force at that time")
    zone = course.assignment.register.zone
    raise ExplanationError(
        f"there is no {asked.kind.replace('_', ' ')} '{asked.subject}' among the records up to "
        f"{moment(course.assignment.as_of, zone)}; see --as-of"
    )


def _judged(asked: _Asked, course: Course) -> Iterator[Judged]:
    task = course.assignment
    requirements = _requirements(asked, course)
    for batches, part in in_blocks(requirements, _history(task), task.blocks):
        past = course.past(part)
        for batch in batches:
            yield judge(batch, past, course.catalogue, by_day=False)


def _requirements(asked: _Asked, course: Course) -> list[Requirement]:
    requirements = requirements_of(course.editions, course.assignment.register.zone)
    mine = [one for one in requirements if one.subject == asked.kind]
    if not mine:
        kinds = ", ".join(sorted({f"a {one.subject}" for one in requirements}))
        raise ExplanationError(f"'{asked.rule}' judges {kinds}, not a {asked.kind}")
    return mine


def _history(task: Assignment) -> History:
    frames = {k: f.filter(pl.col("at") <= task.as_of) for k, f in task.frames.items()}
    return History.of_records(frames, task.register)


def _places(judged: Judged, asked: _Asked) -> Iterator[tuple[int, int]]:
    """Yield by which requirement the subject was judged, and where it stands."""
    places = (judged.subjects["subject"] == asked.subject).arg_true()[-1:]
    for number in range(len(judged.requirements)):
        yield from ((number, int(place)) for place in places)
