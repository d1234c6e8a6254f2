"""Limits as they stand in the file, and what a slip could make of them."""

import re
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from decimal import Decimal

from qa_engine.conditions import Limit, read_quantity
from qa_engine.conditions.terms import units_like
from qa_engine.errors import UnitError
from qa_engine.fields import NUMBER
from qa_engine.proof.forms import last_digit
from qa_engine.rulesets import Rule
from qa_engine.units import Unit, between, unit
from qa_engine.yaml_tree import Document, Path, TextNode

NOISE = 1e-6
"""Part of a display's step by which a limit may miss a whole number of steps."""

_NUMBER = re.compile(NUMBER, re.ASCII)


@dataclass(frozen=True)
class Quantity:
    """One quantity of a limit as the file writes it.

    Attributes:
        limit: the limit.
        word: the word that it goes with; None if the limit has one for all.
        written: the quantity.
        path: where it stands in the document.
    """

    limit: Limit
    word: str | None
    written: str
    path: Path

    @property
    def number(self) -> str:
        """Return its number as written."""
        found = _NUMBER.match(self.written)
        return found[0] if found else "0"

    def with_text(self, written: str) -> Limit:
        """Return the limit in which this quantity is written otherwise."""
        number, of = read_quantity(written)
        if not isinstance(self.limit.values, Mapping):
            return replace(self.limit, unit=of, values=number, written=written)
        value = between(of, self.limit.unit).apply(number)
        values = {**self.limit.values, str(self.word): value}
        return replace(self.limit, values=values, written=f"{self.word} {written}")

    def moved(self) -> Iterator[tuple[str, Limit]]:
        """Yield it one step of its last digit lower and higher, as text and as limit."""
        number, step = Decimal(self.number), last_digit(self.number)
        rest = self.written[len(self.number) :]
        for moved in (number - step, number + step):
            with suppress(UnitError):  # a step may lead beyond what can be reckoned with
                yield f"{moved}{rest}", self.with_text(f"{moved}{rest}")

    def in_other_units(self) -> Iterator[tuple[str, Limit]]:
        """Yield its number with each other unit of the same quantity, if that makes another."""
        number, of = read_quantity(self.written)
        for name in units_like(of):
            written = self.number if name == "1" else f"{self.number} {name}"
            if not _same(number, of, read_quantity(written)[1]):
                yield written, self.with_text(written)

    def misses(self, step: float, of: str) -> bool:
        """Tell whether it lies between two steps of a display that shows a unit."""
        number, written = read_quantity(self.written)
        steps = between(written, unit(of)).apply(number) / step
        return abs(steps - round(steps)) > NOISE


def quantities(rule: Rule, document: Document) -> Iterator[Quantity]:
    """Yield every quantity that the limits of a rule are made of."""
    for name, limit in rule.limits.items():
        path = (*rule.path, "limits", name, "is")
        words = list(limit.values) if isinstance(limit.values, Mapping) else [None]
        for word in words:
            at = path if word is None else (*path, word)
            node = document.node(at)
            if isinstance(node, TextNode):
                yield Quantity(limit, word, node.text, at)


def _same(number: float, one: Unit, other: Unit) -> bool:
    return between(other, one).apply(number) == number
