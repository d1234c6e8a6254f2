"""Adoption: which rules would stand beside which if new editions took the place of old ones."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any, NamedTuple

from qa_engine.rulesets import Edition, Rule

ONLY_TOLD = (
    "title",
    "grading",
    "says",
    "correction",
    "basis",
    "caution",
    "affects",
    "settled_by",
)
"""The parts of a rule that no outcome and no permission hangs on."""

NOT_COMPARED = ("rule", "subject", "examples")
"""The parts of a rule that are its name, or only show what it does."""


class Difference(NamedTuple):
    """A part of a rule that two editions word differently; None where one has no such part."""

    part: str
    old: str | None
    new: str | None


@dataclass(frozen=True)
class Pair:
    """A rule as the old and the new edition word it; None where one has no such rule.

    A rule that now judges another kind of subject is one rule removed and another one added.
    """

    rule_set: str
    rule: str
    subject: str
    old: Rule | None
    new: Rule | None
    differences: tuple[Difference, ...]

    @property
    def either(self) -> Rule:
        """Return the new wording, or the old one if there is no new one."""
        return self.new or self.old  # type: ignore[return-value] # one of them made the pair

    @property
    def standing(self) -> str:
        """Return added, removed, amended or unchanged."""
        if self.old is None:
            return "added"
        if self.new is None:
            return "removed"
        return "amended" if self.differences else "unchanged"

    @cached_property
    def judges_alike(self) -> bool:
        """Tell whether both wordings must come to the same outcomes."""
        parts = {difference.part for difference in self.differences}
        return self.standing in ("amended", "unchanged") and parts <= set(ONLY_TOLD)


@dataclass(frozen=True)
class Adoption:
    """Old and new editions, a single one of each rule set, and their rules side by side.

    Attributes:
        old, new: the editions in the order of their rule sets; a set that the new side does not
            name goes on as it is and stands in both.
        pairs: the rules of both, by name.
        notes: what was left aside, a sentence each.
    """

    old: tuple[Edition, ...]
    new: tuple[Edition, ...]
    pairs: tuple[Pair, ...]
    notes: tuple[str, ...]

    def of_standing(self, standing: str) -> list[Pair]:
        """Return the pairs of one standing: added, removed, amended or unchanged."""
        return [pair for pair in self.pairs if pair.standing == standing]


def adoption_of(old: Iterable[Edition], new: Iterable[Edition]) -> Adoption:
    """Return what adopting new editions in the place of old ones comes to.

    Days of force are set aside: of several editions of one set the last one counts.
    """
    before, after = tuple(old), tuple(new)
    olds, news = _last_of_each(before), _last_of_each(after)
    both = {name: (olds.get(name), news.get(name, olds.get(name))) for name in {**olds, **news}}
    ordered = [both[name] for name in sorted(both)]
    pairs = [pair for old_one, new_one in ordered for pair in _pairs(old_one, new_one)]
    notes = [*_set_aside(before, olds), *_set_aside(after, news), *_same_name(ordered)]
    return Adoption(
        tuple(one for one, _ in ordered if one),
        tuple(one for _, one in ordered if one),
        tuple(pairs),
        tuple(dict.fromkeys(notes)),
    )


def _last_of_each(editions: Iterable[Edition]) -> dict[str, Edition]:
    return {e.rule_set: e for e in sorted(editions, key=lambda one: one.in_force_from)}


def _set_aside(editions: Iterable[Edition], taken: Mapping[str, Edition]) -> Iterator[str]:
    for one in editions:
        if (last := taken[one.rule_set]) is not one:
            yield f"Of '{one.rule_set}' edition {last.edition} is compared, {one.edition} is not."


def _same_name(sides: Iterable[tuple[Edition | None, Edition | None]]) -> Iterator[str]:
    for old, new in sides:
        if old and new and old.edition == new.edition and old.sha256 != new.sha256:
            yield (
                f"Old and new both call themselves '{new}' and differ; give the new one a name "
                "of its own before it is adopted."
            )


def _pairs(old: Edition | None, new: Edition | None) -> Iterator[Pair]:
    olds, news = _by_name(old), _by_name(new)
    for key in sorted({**olds, **news}):
        before, after = olds.get(key), news.get(key)
        differences: tuple[Difference, ...] = ()
        if old and new and before and after:
            differences = tuple(_differences(_written(old, before), _written(new, after)))
        rule_set = (before or after).rule_set  # type: ignore[union-attr]
        yield Pair(rule_set, *key, before, after, differences)


def _by_name(edition: Edition | None) -> dict[tuple[str, str], Rule]:
    return {(rule.rule, rule.subject): rule for rule in edition.rules} if edition else {}


def _written(edition: Edition, rule: Rule) -> dict[str, str]:
    """Return the parts of a rule as written, such as ``limits.house_limit.is``."""
    part = edition.document.data
    for step in rule.path:
        part = part[step]
    kept = {name: value for name, value in part.items() if name not in NOT_COMPARED}
    return dict(_leaves(kept, ""))


def _leaves(part: Mapping[str, Any], above: str) -> Iterator[tuple[str, str]]:
    for name, value in part.items():
        if isinstance(value, Mapping):
            yield from _leaves(value, f"{above}{name}.")
        else:
            yield f"{above}{name}", " ".join(str(value).split())


def _differences(old: Mapping[str, str], new: Mapping[str, str]) -> Iterator[Difference]:
    for part in {**old, **new}:
        if old.get(part) != new.get(part):
            yield Difference(part, old.get(part), new.get(part))
