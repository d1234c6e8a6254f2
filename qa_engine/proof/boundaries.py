"""Boundaries: where the numbers of a subject meet exactly what a condition compares them with."""

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import fields, is_dataclass
from typing import Any

from qa_engine.conditions.numbers import Chosen, Measured, Subject
from qa_engine.conditions.verdicts import Compared
from qa_engine.facts.fact import Fact

ANCHORS = ((0.0, 1.0), (1e3, 2e3), (1e6, 2e6), (-1e3, -2e3))
"""Pairs of numbers from which a straight piece of a comparison is followed to its boundary."""

DIGITS = 12
"""Significant digits of a boundary; the slack of comparisons is a thousand times coarser."""

_PARTS_OF_TREES = ("qa_engine.conditions",)


def comparisons(tree: object) -> Iterator[Compared]:
    """Yield the comparisons of numbers in a condition's tree."""
    return (part for part in _walk(tree) if isinstance(part, Compared))


def compared_facts(compared: Compared) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return the number facts that a comparison weighs, and the facts that choose its limits."""
    found = list(_walk(compared))
    numbers = dict.fromkeys(part.name for part in found if isinstance(part, Measured))
    choosing = dict.fromkeys(part.by for part in found if isinstance(part, Chosen))
    return tuple(numbers), tuple(choosing)


def boundary(compared: Compared, name: str, others: Subject) -> list[float]:
    """Return the values of a fact at which both sides of a comparison are equal.

    Args:
        compared: the comparison.
        name: the number fact that is looked for.
        others: the other facts that it needs.

    Each straight piece of the comparison is followed from a pair of anchors; a piece that bends
    again before the boundary is left out.
    """
    found: dict[float, None] = {}
    for low, high in ANCHORS:
        at_low, at_high = (margin(compared, {**others, name: at}) for at in (low, high))
        if at_low is None or at_high is None or at_low == at_high:
            continue
        root = rounded(low - at_low * (high - low) / (at_high - at_low))
        if (left := margin(compared, {**others, name: root})) is None:
            continue
        if abs(left) <= 1e-9 * max(1.0, abs(at_low), abs(at_high)):
            found[root] = None
    return list(found)


def margin(compared: Compared, subject: Subject) -> float | None:
    """Return by how much the left side of a comparison exceeds the right one, if it is known."""
    left, right = compared.left.of_one(subject), compared.right.of_one(subject)
    return None if left is None or right is None else left - right


def rounded(number: float) -> float:
    """Return a number without the last digits, which are but the noise of reckoning."""
    return float(f"{number:.{DIGITS}g}") + 0.0


def in_range(numbers: Iterable[float], fact: Fact) -> list[float]:
    """Return the numbers that a fact can have; what is counted is whole."""
    whole = fact.unit == "count"
    known = [one for one in numbers if math.isfinite(one)]
    near = [float(at) for one in known for at in ((one // 1, -(-one // 1)) if whole else (one,))]
    return list(dict.fromkeys(one for one in near if fact.low <= one <= fact.high))


def _walk(tree: object) -> Iterator[object]:
    yield tree
    if isinstance(tree, tuple):
        for part in tree:
            yield from _walk(part)
    elif is_dataclass(tree) and type(tree).__module__.startswith(_PARTS_OF_TREES):
        known: Mapping[str, Any] = vars(tree)
        for one in fields(tree):
            yield from _walk(known[one.name])
