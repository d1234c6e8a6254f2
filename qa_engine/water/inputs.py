"""What the chemistry accepts: arrays of numbers in which NaN is unknown and nonsense is refused."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from qa_engine.errors import ModelInputError

Floats = NDArray[np.float64]


def not_negative(name: str, numbers: ArrayLike) -> Floats:
    """Return the numbers as floats; refuse any below zero."""
    return within(name, numbers, low=0.0)


def positive(name: str, numbers: ArrayLike) -> Floats:
    """Return the numbers as floats; refuse zero and any below."""
    checked = within(name, numbers, low=0.0)
    if np.any(checked == 0.0):
        raise ModelInputError(f"{name} is 0.0; expected a number above 0")
    return checked


def within(name: str, numbers: ArrayLike, *, low: float, high: float = np.inf) -> Floats:
    """Return the numbers as floats; refuse any outside the inclusive range, and infinities.

    Raises:
        ModelInputError: names the quantity, the first offending number and the range.
    """
    checked = np.asarray(numbers, dtype=np.float64)
    wrong = (checked < low) | (checked > high) | np.isinf(checked)
    if np.any(wrong):
        first = float(checked[wrong].flat[0])
        expected = f"from {low:g} to {high:g}" if np.isfinite(high) else f"of at least {low:g}"
        raise ModelInputError(f"{name} is {first}; expected a finite number {expected}")
    return checked
