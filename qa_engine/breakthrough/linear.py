"""Klinkenberg's short form of the breakthrough for a linear isotherm, X = J(N, N T).

Source, as customarily given: A. Klinkenberg, Ind. Eng. Chem. 46 (1954) 2285.
"""

import numpy as np
from numpy.typing import ArrayLike

from qa_engine.breakthrough.arguments import leak_and_units, use_and_units
from qa_engine.water.inputs import Floats

LEAST_ROOT = np.sqrt(1 / 8)
"""Where ``s + 1/(8 s)`` is least: Klinkenberg's form has no meaning below and is held there."""


def klinkenberg(used_fraction: ArrayLike, transfer_units: ArrayLike) -> Floats:
    """Return outlet over inlet concentration for a linear isotherm, in closed form [1].

    ``1/2 {1 + erf[sqrt t - sqrt r + 1/(8 sqrt t) + 1/(8 sqrt r)]}`` with r = N, t = N T. Within
    0.0048 of J where r and t are 2 or more, within 0.0011 where they are 5 or more. Not meant for
    less, where it is only kept from falling.

    Args:
        used_fraction: T, any shape [1], >= 0.
        transfer_units: N, broadcast to it [1], > 0.

    Raises:
        ModelInputError: an argument is outside its range.
    """
    from scipy.special import erfc

    used, units = use_and_units(used_fraction, transfer_units)
    root = np.maximum(np.sqrt(units * used), LEAST_ROOT)
    return np.asarray(0.5 * erfc(_setback(units) - root - 1.0 / (8.0 * root)))


def klinkenberg_used_fraction(outlet_fraction: ArrayLike, transfer_units: ArrayLike) -> Floats:
    """Return the used fraction at which the outlet reaches a leakage, by ``klinkenberg`` [1].

    0 where even a fresh bed leaks more.

    Args:
        outlet_fraction: X, any shape [1], between 0 and 1.
        transfer_units: N, broadcast to it [1], > 0.

    Raises:
        ModelInputError: an argument is outside its range.
    """
    from scipy.special import erfcinv

    leak, units = leak_and_units(outlet_fraction, transfer_units)
    half: Floats = (_setback(units) - erfcinv(2.0 * leak)) / 2.0
    # root + 1/(8 root) = 2 half has a solution from where its left side is least.
    root = half + np.sqrt(np.maximum(half**2 - 1 / 8, 0.0))
    return np.where(half < LEAST_ROOT, 0.0 * half, root**2 / units)


def _setback(units: Floats) -> Floats:
    root = np.maximum(np.sqrt(units), LEAST_ROOT)
    return root - 1.0 / (8.0 * root)
