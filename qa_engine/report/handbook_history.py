"""The history of a rule set: its editions, when each was in force, and what each changed."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from qa_engine.plain_words import in_words, named, quantity
from qa_engine.report.sentences import day
from qa_engine.rulesets import Edition, Limit, Rule


@dataclass(frozen=True)
class EditionTold:
    """An edition in the history of its set.

    Attributes:
        edition: the edition.
        force: when it is in force, in words.
        changes: what it changed in the edition before it, a sentence each.
        is_current: whether it is in force on the day of the handbook.
    """

    edition: Edition
    force: str
    changes: tuple[str, ...]
    is_current: bool


def history_of(editions: Sequence[Edition], on: date) -> tuple[EditionTold, ...]:
    """Return the editions of one rule set, given in order of their first day, the latest first."""
    told: list[EditionTold] = []
    before: Edition | None = None
    for one in editions:
        changes = tuple(_changes(before, one)) if before else ()
        until = one.in_force_until
        current = one.in_force_from <= on <= (until or date.max)
        told.append(EditionTold(one, _force(one), changes, current))
        before = one
    return tuple(reversed(told))


def _force(edition: Edition) -> str:
    first, until = day(edition.in_force_from), edition.in_force_until
    return f"{first} to {day(until)}" if until else f"from {first}"


def _changes(before: Edition, after: Edition) -> Iterator[str]:
    old = {rule.rule: rule for rule in before.rules}
    new = {rule.rule: rule for rule in after.rules}
    for name, rule in new.items():
        if name not in old:
            yield f"New: {rule.title}."
        elif changed := "; ".join(_differences(old[name], rule)):
            yield f"{rule.title}: {changed}."
    for name, rule in old.items():
        if name not in new:
            yield f"No longer asked for: {rule.title}."


def _differences(old: Rule, new: Rule) -> Iterator[str]:
    for name in dict.fromkeys((*old.limits, *new.limits)):
        was, now = (_value(rule.limits.get(name)) for rule in (old, new))
        if was != now:
            yield f"{named(name)} {was or 'not given'}, now {now or 'no longer given'}"
    if old.requires.text != new.requires.text:
        yield f"now requires that {in_words(new.requires.text, new.limits)}"
    scope = [rule.applies_if.text if rule.applies_if else "" for rule in (old, new)]
    if scope[0] != scope[1]:
        told = in_words(scope[1], new.limits) if scope[1] else ""
        yield f"now applies if {told}" if told else "now applies always"
    for what in ("subject", "grading", "within", "permission", "decision"):
        was, now = getattr(old, what), getattr(new, what)
        if was != now:
            yield f"{what} was {_shown(was)}, is now {_shown(now)}"


def _value(limit: Limit | None) -> str:
    if limit is None:
        return ""
    return limit.written if limit.by else quantity(limit.written)


def _shown(value: object) -> str:
    return "open" if value is None else named(str(value))
