"""Cells: the ranges of all facts, cut where rules compare them, to be reasoned on one by one."""

import math
from collections.abc import Callable, Iterator, Sequence
from itertools import pairwise, product

from qa_engine.facts.fact import Fact
from qa_engine.proof.reach import NOTHING, Box, Range, outcomes_within
from qa_engine.proof.trial import Trial
from qa_engine.rulesets import Rule

MOST_CELLS = 20_000
"""Most cells that are reasoned on; with more, nothing is proven."""

CLEAR = 4e-9
"""How far, relatively, a cell keeps from a boundary, to be clear of the slack of comparisons."""


def never(
    trial: Trial, rules: Sequence[Rule], happens: Callable[[Sequence[frozenset[int]]], bool]
) -> bool:
    """Tell whether it is proven that something happens to no subject within the facts' ranges.

    Args:
        trial: a trial of the rules, which knows the facts and the boundaries.
        rules: the rules.
        happens: takes the outcomes that each rule can have in a cell.
    """
    choices = [list(_cells_of(trial, name)) for name in trial.names]
    if math.prod(len(one) for one in choices) > MOST_CELLS:
        return False
    for values in product(*choices):
        box: Box = dict(zip(trial.names, values, strict=True))
        if happens([outcomes_within(rule, box) for rule in rules]):
            return False
    return True


def _cells_of(trial: Trial, name: str) -> Iterator[Range | frozenset[object]]:
    fact = trial.facts[name]
    if fact.type == "number":
        yield from _ranges(trial.boundaries[name], fact)
        yield NOTHING
    else:
        yield from (frozenset((value,)) for value in trial.values[name])


def _ranges(boundaries: Sequence[float], fact: Fact) -> Iterator[Range]:
    """Yield each boundary by itself, and what lies between, so that all of the range is there."""
    met = sorted(one for one in boundaries if fact.low <= one <= fact.high)
    for one in met:
        yield Range(one, one)
    ends = sorted({fact.low, fact.high, *met})
    for low, high in pairwise(ends):
        inner = Range(
            _clear(low, 1) if low in met else low, _clear(high, -1) if high in met else high
        )
        if inner.low <= inner.high:
            yield inner
    if len(ends) == 1 and not met:
        yield Range(ends[0], ends[0])


def _clear(boundary: float, side: int) -> float:
    moved = boundary + side * abs(boundary) * CLEAR
    return moved if moved != boundary else math.nextafter(boundary, side * math.inf)
