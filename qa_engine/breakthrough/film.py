"""Irreversible exchange under film control: the constant pattern, exact for any N.

Mixed beds are taken so because hydrogen and hydroxide make water of each other, which leaves
nothing to come back, and the film of water around the beads sets the pace.

Sources: rate step of mixed beds, AIChE J. 6 (1960), doi:10.1002/aic.690060426 (abstract read);
the curve follows from the balance of equivalents.
"""

import numpy as np
from numpy.typing import ArrayLike

from qa_engine.breakthrough.arguments import leak_and_units, use_and_units
from qa_engine.water.inputs import Floats


def film_breakthrough(used_fraction: ArrayLike, transfer_units: ArrayLike) -> Floats:
    """Return outlet over inlet concentration of an irreversible bed under film control [1].

    ``exp(-N)`` while T < 1/N, when the first layer is not yet full; ``exp(N (T - 1) - 1)`` up to
    T = 1 + 1/N, so that ln X is a straight line; then 1.

    Args:
        used_fraction: T, equivalents fed over equivalents of capacity, any shape [1], >= 0.
        transfer_units: N, broadcast to it [1], > 0.

    Raises:
        ModelInputError: an argument is outside its range.
    """
    used, units = use_and_units(used_fraction, transfer_units)
    return np.exp(np.clip(units * (used - 1.0) - 1.0, -units, 0.0))


def film_used_fraction(outlet_fraction: ArrayLike, transfer_units: ArrayLike) -> Floats:
    """Return the used fraction up to which the outlet keeps at or below a leakage [1].

    ``1 + (1 + ln X)/N``; 0 where even a fresh bed leaks more.

    Args:
        outlet_fraction: X, any shape [1], between 0 and 1.
        transfer_units: N, broadcast to it [1], > 0.

    Raises:
        ModelInputError: an argument is outside its range.
    """
    leak, units = leak_and_units(outlet_fraction, transfer_units)
    log_leak = np.log(leak)
    return np.where(log_leak < -units, 0.0 * log_leak, 1.0 + (1.0 + log_leak) / units)
