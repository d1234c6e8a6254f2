"""Subjects as lines that can be pasted into the examples of a rule."""

import json
import re
from collections.abc import Iterable, Mapping

from qa_engine.facts.fact import Fact
from qa_engine.proof.boundaries import DIGITS
from qa_engine.rulesets import Rule
from qa_engine.rulesets.rule import LISTED_UNDER
from qa_engine.units import Unit, between, unit

_PLAIN = re.compile(r"[A-Za-z0-9](?:[A-Za-z0-9 ._/*+-]*[A-Za-z0-9._/*+-])?", re.ASCII)
_NO_VALUE = ("null", "Null", "NULL")

MUCH_SHORTER = 3
"""By how many characters another unit must shorten a number to be preferred to the fact's own."""


def example_line(subject: Mapping[str, object], facts: Mapping[str, Fact], rule: Rule) -> str:
    """Return a subject as an entry of a list of examples; what is missing is left out.

    Args:
        subject: facts in their own units.
        facts: the facts of this kind of subject, by name.
        rule: whose limits' units may be used where they make a number shorter.
    """
    units = [limit.unit for limit in rule.limits.values()]
    stated = [
        f"{name}: {_value(value, facts[name], units)}"
        for name, value in subject.items()
        if value is not None
    ]
    return f"- {{{', '.join(stated)}}}"


def listed_under(outcome: int) -> str:
    """Return under which heading of the examples an outcome belongs."""
    return next(name for name, code in LISTED_UNDER.items() if code == outcome)


def _value(value: object, fact: Fact, units: Iterable[Unit]) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return _number(value, unit(fact.unit or "1"), units)
    text = str(value[0] if isinstance(value, list) else value)
    plain = _PLAIN.fullmatch(text) and text not in _NO_VALUE
    return text if plain else json.dumps(text, ensure_ascii=False)


def _number(number: float, own: Unit, units: Iterable[Unit]) -> str:
    best = _quantity(number, own)
    for other in units:
        if other.measures_same_as(own):
            written = _quantity(between(own, other).apply(number), other)
            if len(written) + MUCH_SHORTER <= len(best):
                best = written
    return best


def _quantity(number: float, of: Unit) -> str:
    text = f"{number:.{DIGITS}g}"
    return text if of.name == "1" else f"{text} {of.name}"
