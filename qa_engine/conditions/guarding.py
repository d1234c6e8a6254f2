"""Turns the comparisons of a condition into guarded ones, where they measure something uncertain.

The standard uncertainty of a fact is a fact itself, named ``uncertainty of`` and the fact. A
condition cannot name it, since its name holds spaces; a guarded condition reads it beside the fact.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from qa_engine.conditions.condition import Condition, ConditionError
from qa_engine.conditions.grammar import Fault
from qa_engine.conditions.guard import Guard, RootSum, guards_in
from qa_engine.conditions.numbers import (
    Chosen,
    Constant,
    Converted,
    Extreme,
    Measured,
    Negative,
    Number,
    Reckoned,
)
from qa_engine.conditions.verdicts import All, Compared, Either, Not, Verdict
from qa_engine.facts.fact import UNCERTAINTY, Fact

TURNED = {"<": ">", "<=": ">=", ">": "<", ">=": "<="}
OPPOSITE = {("<", ">"), ("<", ">="), ("<=", ">"), ("<=", ">=")}


def guarded_condition(
    condition: Condition, facts: Mapping[str, Fact], confidence: float
) -> Condition:
    """Return a condition that holds only with a confidence, as JCGM 106:2012 decides.

    Args:
        condition: as it was parsed.
        facts: the facts of the subject; those with an ``uncertainty of`` are uncertain.
        confidence: how probable it must be that it holds, at least 0.5 and below 1.

    Raises:
        ConditionError: nothing in it is uncertain, or something is in a way that cannot be guarded.
    """
    guarding = Guarding(facts, confidence)
    verdict = guarding.of(condition.verdict)
    guards = guards_in(verdict)
    if not guards and not guarding.faults and not condition.unknown:
        named = sorted(name.removeprefix(UNCERTAINTY) for name in facts if is_uncertainty(name))
        help = f"uncertain facts of this subject are: {', '.join(named)}" if named else ""
        guarding.refuse("no comparison here measures anything whose uncertainty is known", help)
    if guarding.faults:
        whole = len(condition.text)
        faults = [Fault(0, message, help, whole) for message, help in guarding.faults.items()]
        raise ConditionError(condition.text, faults)
    spreads = [UNCERTAINTY + name for guard in guards for name in guard.measured]
    return replace(
        condition,
        names=tuple(dict.fromkeys((*condition.names, *spreads))),
        weighed=condition.weighed | frozenset(spreads),
        verdict=verdict,
    )


def is_uncertainty(name: str) -> bool:
    """Tell whether a fact is the standard uncertainty of another."""
    return name.startswith(UNCERTAINTY)


@dataclass
class Guarding:
    """Guards the comparisons of one condition; ``faults`` are messages with what would do."""

    facts: Mapping[str, Fact]
    confidence: float
    faults: dict[str, str] = field(default_factory=dict)

    def of(self, verdict: Verdict) -> Verdict:
        """Return a condition's tree with guards for what is uncertain in it."""
        match verdict:
            case Compared():
                return self._compared(verdict)
            case Not():
                return Not(self.of(verdict.inner))
            case Either():
                return Either(tuple(map(self.of, verdict.parts)))
            case All():
                return self._all(verdict)
        return verdict

    def refuse(self, message: str, help: str) -> None:
        """Note what cannot be guarded."""
        self.faults.setdefault(message, help)

    def _all(self, verdict: All) -> Verdict:
        parts = [self.of(part) for part in verdict.parts]
        joined: list[Verdict] = []
        for part in parts:
            other = next((one for one in joined if _two_sides(one, part)), None)
            if isinstance(other, Guard) and isinstance(part, Guard):
                joined[joined.index(other)] = replace(other, sides=(*other.sides, *part.sides))
                self._check_width(other, part)
            else:
                joined.append(part)
        return joined[0] if len(joined) == 1 else All(tuple(joined))

    def _check_width(self, one: Guard, other: Guard) -> None:
        if one.sides[0].right == other.sides[0].right:
            name = one.measured[0]
            what = f"'{name}' is uncertain, and so never surely equal to anything"
            self.refuse(what, "give it a lower and an upper limit, or take simple acceptance")

    def _compared(self, verdict: Compared) -> Verdict:
        if not self._uncertain(verdict.left) and self._uncertain(verdict.right):
            verdict = Compared(TURNED[verdict.sign], verdict.right, verdict.left)
        left, right = self._uncertain(verdict.left), self._uncertain(verdict.right)
        if not left:
            return verdict
        spread = self._spread(verdict.left)
        other = self._spread(verdict.right) if right else None
        if spread is None or (right and other is None):
            names = ", ".join(f"'{name}'" for name in dict.fromkeys((*left, *right)))
            what = f"uncertainty is not carried through reckoning with {names}"
            self.refuse(what, "compare the fact by itself with a limit or another fact")
            return verdict
        if other is not None:
            return Guard((verdict,), RootSum(spread, other), (*left, *right), self.confidence)
        return Guard((verdict,), spread, left, self.confidence, self._floor(left[0]))

    def _uncertain(self, number: Number) -> tuple[str, ...]:
        return tuple(name for name in facts_in(number) if UNCERTAINTY + name in self.facts)

    def _spread(self, number: Number) -> Number | None:
        """Return the uncertainty of a fact that stands by itself, None if it does not."""
        match number:
            case Measured():
                return Measured(UNCERTAINTY + number.name, number.unit)
            case Converted(inner=Measured(name=name, unit=unit)) if not number.shift:
                return replace(number, inner=Measured(UNCERTAINTY + name, unit))
        return None

    def _floor(self, name: str) -> float | None:
        """Return 0 for what cannot be negative, in whatever unit."""
        return 0.0 if self.facts[name].low == 0 else None


def facts_in(number: Number) -> tuple[str, ...]:
    """Return the facts that a number is made of."""
    parts: Iterable[Number] = ()
    match number:
        case Measured():
            return (number.name,)
        case Converted() | Negative():
            parts = (number.inner,)
        case Reckoned():
            parts = (number.left, number.right)
        case Extreme():
            parts = number.members
    return tuple(dict.fromkeys(name for part in parts for name in facts_in(part)))


def _two_sides(one: Verdict, other: Verdict) -> bool:
    """Tell whether two guards are the lower and the upper limit of one uncertain number.

    What is measured too is no limit: it is held against the number by itself.
    """
    if not (isinstance(one, Guard) and isinstance(other, Guard)):
        return False
    if len(one.sides) + len(other.sides) != 2 or one.number != other.number:
        return False
    signs = one.sides[0].sign, other.sides[0].sign
    fixed = all(isinstance(guard.sides[0].right, Constant | Chosen) for guard in (one, other))
    return fixed and (signs in OPPOSITE or signs[::-1] in OPPOSITE)
