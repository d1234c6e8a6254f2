"""The curves as things to choose from: each knows its way there and back."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

from numpy.typing import ArrayLike

from qa_engine.breakthrough.film import film_breakthrough, film_used_fraction
from qa_engine.breakthrough.irreversible import (
    bohart_adams,
    bohart_adams_used_fraction,
    logistic,
    logistic_used_fraction,
)
from qa_engine.breakthrough.linear import klinkenberg, klinkenberg_used_fraction
from qa_engine.breakthrough.reversible import thomas, thomas_used_fraction
from qa_engine.water.inputs import Floats


@dataclass(frozen=True)
class Curve:
    """A shape of breakthrough with one number for its sharpness.

    Attributes:
        name: what it is called.
        outlet_fraction: X from T and N.
        used_fraction: T from X and N.
    """

    name: str
    outlet_fraction: Callable[[ArrayLike, ArrayLike], Floats]
    used_fraction: Callable[[ArrayLike, ArrayLike], Floats]


FILM = Curve("film control, irreversible", film_breakthrough, film_used_fraction)
BOHART_ADAMS = Curve("Bohart-Adams", bohart_adams, bohart_adams_used_fraction)
LOGISTIC = Curve("logistic", logistic, logistic_used_fraction)
KLINKENBERG = Curve("Klinkenberg", klinkenberg, klinkenberg_used_fraction)


def thomas_curve(separation_factor: float) -> Curve:
    """Return the general curve of Thomas for one separation factor."""
    return Curve(
        f"Thomas, R = {separation_factor:g}",
        partial(thomas, separation_factor=separation_factor),
        partial(thomas_used_fraction, separation_factor=separation_factor),
    )
