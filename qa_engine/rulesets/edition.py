"""Editions: a rule set as worded from one day on, until the next edition comes into force."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta

from qa_engine.rulesets.rule import Rule
from qa_engine.yaml_tree import Document, Path, Problem


@dataclass(frozen=True)
class Edition:
    """One edition of a rule set.

    Attributes:
        rule_set, edition: its name.
        title: what the set is about.
        in_force_from: the first day on which it judges.
        in_force_until: the last such day, that before the next edition's first; None if open.
        owner: who answers for it.
        rules: its rules, in the order written.
        sha256: digest of the file.
        source: the file.
        document: the file as a tree, to say where things stand.
    """

    rule_set: str
    title: str
    edition: str
    in_force_from: date
    in_force_until: date | None
    owner: str
    rules: tuple[Rule, ...]
    sha256: str
    source: str
    document: Document = field(repr=False, compare=False)

    def __str__(self) -> str:
        return f"{self.rule_set} {self.edition}"


def clashes(editions: Sequence[Edition]) -> Iterable[Problem]:
    """Yield a problem for every edition that has the name or the first day of an earlier one."""
    names: dict[tuple[str, str], Edition] = {}
    days: dict[tuple[str, date], Edition] = {}
    for one in editions:
        first = names.setdefault((one.rule_set, one.edition), one)
        if first is not one:
            what = f"the edition '{one.edition}' of '{one.rule_set}' is there already"
            yield _clash(one, first, ("edition",), what, "give each edition a name of its own")
            continue
        first = days.setdefault((one.rule_set, one.in_force_from), one)
        if first is not one:
            what = f"'{first}' is in force from {one.in_force_from} too"
            yield _clash(one, first, ("in_force", "from"), what, "only one can begin on a day")


def _clash(one: Edition, first: Edition, path: Path, what: str, help: str) -> Problem:
    where = ":".join(map(str, (first.source, *first.document.place_of(path))))
    return one.document.problem(path, f"{what}, see {where}", help)


def in_succession(editions: Iterable[Edition]) -> tuple[Edition, ...]:
    """Return editions by rule set and first day, each ended by the next of its set."""
    ordered = sorted(editions, key=lambda one: (one.rule_set, one.in_force_from))
    ended = []
    for one, after in zip(ordered, [*ordered, None][1:], strict=True):
        ends = [one.in_force_until] if one.in_force_until else []
        if after and after.rule_set == one.rule_set:
            ends.append(after.in_force_from - timedelta(days=1))
        ended.append(replace(one, in_force_until=min(ends, default=None)))
    return tuple(ended)
