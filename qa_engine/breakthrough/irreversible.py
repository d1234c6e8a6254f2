"""Irreversible exchange with second-order reaction as the slow step: exact, and its logistic form.

Sources: G. S. Bohart and E. Q. Adams, J. Am. Chem. Soc. 42 (1920) 523, as customarily given; on
what is one curve under several names, K. H. Chu, J. Hazard. Mater. 177 (2010) 1006-1012 (abstract
read).
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
from qa_engine.water.inputs import Floats


def bohart_adams(used_fraction: ArrayLike, transfer_units: ArrayLike) -> Floats:
    """Return outlet over inlet concentration by the exact law of Bohart and Adams [1].

    ``e^(NT) / (e^(NT) + e^N - 1)``, rectangular isotherm.

    Args:
        used_fraction: T, any shape [1], >= 0.
        transfer_units: N = k q V / Q, broadcast to it [1], > 0.

    Raises:
        ModelInputError: an argument is outside its range.
    """
    used, units = use_and_units(used_fraction, transfer_units)
    return of_log_odds(units * (used - 1.0) - log_of_rest(-units))


def bohart_adams_used_fraction(outlet_fraction: ArrayLike, transfer_units: ArrayLike) -> Floats:
    """Return the used fraction at which the outlet reaches a leakage, by ``bohart_adams`` [1].

    0 where even a fresh bed leaks more.

    Args:
        outlet_fraction: X, any shape [1], between 0 and 1.
        transfer_units: N, broadcast to it [1], > 0.

    Raises:
        ModelInputError: an argument is outside its range.
    """
    leak, units = leak_and_units(outlet_fraction, transfer_units)
    return np.maximum(1.0 + (log_odds(leak) + log_of_rest(-units)) / units, 0.0)


def logistic(used_fraction: ArrayLike, transfer_units: ArrayLike) -> Floats:
    """Return outlet over inlet concentration by the logistic curve [1].

    ``1 / (1 + exp(N (1 - T)))``: Bohart-Adams for N above some 5, from which it differs by less
    than ``e^-N``. The literature on fitting knows this one curve as "Bohart-Adams", as "Thomas"
    (which it is not: Thomas's own curve is ``thomas``) and as "Yoon-Nelson". Their constants are
    one: k_YN = k_Th C0 = k_BA C0, t50 = q V/(C0 Q), N = k_YN t50. So it is offered once.

    Args:
        used_fraction: T, any shape [1], >= 0; 1 is where the outlet is half the inlet.
        transfer_units: N, broadcast to it [1], > 0.

    Raises:
        ModelInputError: an argument is outside its range.
    """
    used, units = use_and_units(used_fraction, transfer_units)
    return of_log_odds(units * (used - 1.0))


def logistic_used_fraction(outlet_fraction: ArrayLike, transfer_units: ArrayLike) -> Floats:
    """Return the used fraction at which the outlet reaches a leakage, by ``logistic`` [1].

    ``1 + ln(X/(1 - X))/N``; 0 where even a fresh bed leaks more.

    Args:
        outlet_fraction: X, any shape [1], between 0 and 1.
        transfer_units: N, broadcast to it [1], > 0.

    Raises:
        ModelInputError: an argument is outside its range.
    """
    leak, units = leak_and_units(outlet_fraction, transfer_units)
    return np.maximum(1.0 + log_odds(leak) / units, 0.0)
