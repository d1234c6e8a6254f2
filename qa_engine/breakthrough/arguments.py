"""What the curves accept: use from 0 on, units above 0, a leakage between 0 and 1; log odds."""

import numpy as np
from numpy.typing import ArrayLike

from qa_engine.errors import ModelInputError
from qa_engine.water import not_negative, positive, within
from qa_engine.water.inputs import Floats


def use_and_units(used_fraction: ArrayLike, transfer_units: ArrayLike) -> tuple[Floats, Floats]:
    """Return T and N as floats.

    Raises:
        ModelInputError: a used fraction is negative or infinite, or N is not above zero.
    """
    used = not_negative("used_fraction", used_fraction)
    return used, positive("transfer_units", transfer_units)


def leak_and_units(outlet_fraction: ArrayLike, transfer_units: ArrayLike) -> tuple[Floats, Floats]:
    """Return X and N as floats.

    Raises:
        ModelInputError: an outlet fraction is not between 0 and 1, or N is not above zero.
    """
    leak = within("outlet_fraction", outlet_fraction, low=0.0, high=1.0)
    if np.any((leak == 0.0) | (leak == 1.0)):
        raise ModelInputError("outlet_fraction is 0 or 1; expected a number between them")
    return leak, positive("transfer_units", transfer_units)


def log_odds(outlet_fraction: Floats) -> Floats:
    """Return ln(X / (1 - X))."""
    return np.log(outlet_fraction) - np.log1p(-outlet_fraction)


def of_log_odds(odds: Floats) -> Floats:
    """Return X from ln(X / (1 - X)), without overflow."""
    away = np.exp(-np.abs(odds))
    return np.where(odds > 0.0, 1.0, away) / (1.0 + away)


def log_of_rest(log_part: Floats) -> Floats:
    """Return ln(1 - p) from ln p, for p between 0 and 1; rounding above 1 counts as 1."""
    part = np.minimum(log_part, 0.0)
    with np.errstate(divide="ignore"):
        near_one = np.log(-np.expm1(part))
        return np.where(part > -np.log(2.0), near_one, np.log1p(-np.exp(part)))
