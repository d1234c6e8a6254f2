"""How a rule decides about what was measured: as it reads, or allowing for its uncertainty."""

from dataclasses import dataclass
from typing import Literal

from qa_engine.conditions import read_quantity
from qa_engine.errors import UnitError
from qa_engine.units import between, unit

LEAST_CONFIDENCE = 0.5
GREATEST_CONFIDENCE = 0.999999
DECIMALS = 12
"""Decimals that a confidence keeps, so that 95 % is 0.95 and not the number beside it."""


@dataclass(frozen=True)
class Decision:
    """A decision rule, as ILAC-G8:09/2019 calls it.

    Attributes:
        acceptance: ``simple`` takes a value as it reads; ``guarded`` asks how probable it is that
            the true value conforms.
        confidence: the probability that guarded acceptance asks for; None with simple acceptance.
    """

    acceptance: Literal["simple", "guarded"] = "simple"
    confidence: float | None = None

    def __str__(self) -> str:
        if self.confidence is None:
            return "simple acceptance: values are taken as they read"
        return f"guarded acceptance: {self.confidence * 100:g} % sure, or it is undecided"


SIMPLE = Decision()


def read_confidence(written: str) -> float:
    """Return a confidence such as ``95 %`` as a number between 0 and 1.

    Raises:
        UnitError: it is no such number, or guarded acceptance cannot ask for it.
    """
    number, of = read_quantity(written)
    confidence = round(between(of, unit("1")).apply(number), DECIMALS)
    if not LEAST_CONFIDENCE <= confidence <= GREATEST_CONFIDENCE:
        least, most = LEAST_CONFIDENCE * 100, GREATEST_CONFIDENCE * 100
        raise UnitError(f"it is not from {least:g} % to {most:.4f} %")
    return confidence
