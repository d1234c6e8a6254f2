"""Which limit ends a charge: the lowest outlet TDS that a rule in force settles by a resin change.

A rule says that a new charge is called for by ``settled_by: resin_change``. Of such rules about a
reading those count whose requirement has an upper limit on the outlet's TDS that must hold by
itself; the lowest such limit ends the charge. What a rule applies to is asked of a reading taken
from flowing water on this tank; a rule of which that cannot be told counts, to be on the safe side.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date

from qa_engine.conditions.guard import Guard
from qa_engine.conditions.numbers import Chosen, Constant, Measured
from qa_engine.conditions.verdicts import All, Compared, Verdict
from qa_engine.rulesets import Edition, Rule

OUTLETS = ("outlet_tds", "outlet_as_tds")
"""The facts that say what the outlet reads as TDS [mg/L]."""


@dataclass(frozen=True)
class EndingLimit:
    """An upper limit on the outlet, and the rule that it comes from."""

    rule: Rule
    limit: Constant | Chosen

    def at(self, reading: Mapping[str, object]) -> float | None:
        """Return the limit for a reading [mg/L], None where the rule does not apply to it."""
        if self.rule.applies_if and self.rule.applies_if.of_one(reading) is False:
            return None
        return self.limit.of_one(reading)


def ending_limits(editions: Iterable[Edition], day: date) -> tuple[EndingLimit, ...]:
    """Return the limits that end charges by the editions in force on a day."""
    return tuple(
        EndingLimit(rule, limit)
        for edition in editions
        if _in_force(edition, day)
        for rule in edition.rules
        if rule.subject == "reading" and rule.settled_by == "resin_change"
        for limit in upper_limits(rule.requires.verdict)
    )


def _in_force(edition: Edition, day: date) -> bool:
    ended = edition.in_force_until is not None and edition.in_force_until < day
    return edition.in_force_from <= day and not ended


def upper_limits(verdict: Verdict) -> Iterator[Constant | Chosen]:
    """Yield the upper limits on the outlet that must hold if a requirement is to hold."""
    match verdict:
        case All():
            for part in verdict.parts:
                yield from upper_limits(part)
        case Guard():
            for side in verdict.sides:
                yield from upper_limits(side)
        case Compared(sign="<" | "<=", left=Measured() as left, right=Constant() | Chosen()):
            if left.name in OUTLETS:
                yield verdict.right  # type: ignore[misc]


def lowest(
    limits: Iterable[EndingLimit], reading: Mapping[str, object]
) -> tuple[float, Rule] | None:
    """Return the lowest limit for a reading [mg/L] and its rule, None if there is none."""
    found = [(at, one.rule) for one in limits if (at := one.at(reading)) is not None and at > 0]
    return min(found, key=lambda pair: (pair[0], pair[1].rule_set, pair[1].rule), default=None)
