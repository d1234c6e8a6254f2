"""Reversible exchange of constant separation factor with second-order kinetics: Thomas's solution.

    X = J(RN, NT) / {J(RN, NT) + [1 - J(N, RNT)] exp[(R - 1) N (T - 1)]}

Written so, it overflows at N of some hundreds, and its parts vanish long before. Here each part is
taken as a power of e times a scaled number near 1, and the powers are added by hand: they come to
one square, which neither overflows nor loses digits.

Sources, as customarily given: H. C. Thomas, J. Am. Chem. Soc. 66 (1944) 1664; N. K. Hiester and
T. Vermeulen, Chem. Eng. Prog. 48 (1952) 505.
"""

import numpy as np
from numpy.typing import ArrayLike

from qa_engine.breakthrough.arguments import (
    leak_and_units,
    log_odds,
    log_of_rest,
    of_log_odds,
    use_and_units,
)
from qa_engine.breakthrough.tails import log_small_part
from qa_engine.errors import ModelInputError
from qa_engine.water.inputs import Floats, not_negative

FARTHEST_USE = 1e12
"""A leakage that is not reached by then never is, for any purpose [1]."""


def thomas(
    used_fraction: ArrayLike, transfer_units: ArrayLike, separation_factor: ArrayLike
) -> Floats:
    """Return outlet over inlet concentration by the general solution of Thomas [1].

    R = 0 gives Bohart-Adams, R = 1 J(N, NT).

    Args:
        used_fraction: T, any shape [1], >= 0.
        transfer_units: N, broadcast to it [1], > 0.
        separation_factor: R, broadcast to it [1], >= 0; below 1 the exchange is favourable.

    Raises:
        ModelInputError: an argument is outside its range.
    """
    used, units = use_and_units(used_fraction, transfer_units)
    factor = not_negative("separation_factor", separation_factor)
    return of_log_odds(_thomas_log_odds(*np.broadcast_arrays(used, units, factor)))


def thomas_used_fraction(
    outlet_fraction: ArrayLike, transfer_units: ArrayLike, separation_factor: ArrayLike
) -> Floats:
    """Return the used fraction at which the outlet reaches a leakage, by ``thomas`` [1].

    0 where even a fresh bed leaks more.

    Args:
        outlet_fraction: X, any shape [1], between 0 and 1.
        transfer_units: N, broadcast to it [1], > 0.
        separation_factor: R, broadcast to it [1], >= 0.

    Raises:
        ModelInputError: an argument is outside its range, or the leakage is never reached.
    """
    from scipy.optimize.elementwise import bracket_root, find_root

    leak, units = leak_and_units(outlet_fraction, transfer_units)
    factor = not_negative("separation_factor", separation_factor)
    leak, units, factor = np.broadcast_arrays(leak, units, factor)
    aim = log_odds(leak)
    known = np.isfinite(aim + units + factor)
    later = known & (_thomas_log_odds(0.0 * units, units, factor) < aim)
    used = np.where(known, 0.0, np.nan)
    if not later.any():
        return used

    def short_of(tried: Floats, n: Floats, r: Floats, wanted: Floats) -> Floats:
        return _thomas_log_odds(tried, n, r) - wanted

    rest = (units[later], factor[later], aim[later])
    zero = np.zeros(rest[0].shape)
    around = bracket_root(
        short_of, zero, zero + 1.0, xmin=zero, xmax=zero + FARTHEST_USE, args=rest
    )
    found = find_root(short_of, around.bracket, args=rest)
    if not found.success.all():
        raise ModelInputError("outlet_fraction is never reached with these units and factor")
    used[later] = found.x
    return used


def _thomas_log_odds(used: Floats, units: Floats, factor: Floats) -> Floats:
    """Return ln(X/(1 - X)) for arguments of one shape."""
    r_low, t_low = np.sqrt(factor * units), np.sqrt(units * used)
    r_high, t_high = np.sqrt(units), np.sqrt(factor * units * used)
    coming = t_low < r_low  # J(RN, NT) is the small part
    done = t_high >= r_high  # 1 - J(N, RNT) is the small part
    power = np.select(
        [coming & done, coming, done],
        [0.0 * units, -((r_high - t_high) ** 2), (t_low - r_low) ** 2],
        (1.0 - factor) * units * (used - 1.0),
    )
    first, second = log_small_part(r_low, t_low), log_small_part(r_high, t_high)
    left = np.where(coming, first, log_of_rest(first - (r_low - t_low) ** 2))
    right = np.where(done, second, log_of_rest(second - (r_high - t_high) ** 2))
    return power + left - right
