"""The normal distribution over whole columns, and how probable it is that a value conforms.

Source of the probabilities: JCGM 106:2012, section 7. What cannot be negative is described by the
normal distribution cut off at zero.
"""

import math
from functools import cache
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

TERMS = 40
"""Terms of the polynomial for the complementary error function; it is good to 1e-13 with them."""

FARTHEST = 26.0
"""Beyond this the complementary error function is below 1e-295 and taken as it is here."""


def quantile(probability: float) -> float:
    """Return the standard normal quantile of a probability above 0 and below 1."""
    return NormalDist().inv_cdf(probability)


def normal_cdf(z: ArrayLike) -> Floats:
    """Return the probability that a standard normal number is below z, any shape."""
    z = np.asarray(z, np.float64)
    tail = 0.5 * _erfc(np.abs(z) / math.sqrt(2))
    return np.where(z < 0, tail, 1.0 - tail)


def _erfc(x: Floats) -> Floats:
    """Return the complementary error function of numbers from 0 on."""
    near = np.minimum(x, FARTHEST)
    scaled = np.polynomial.chebyshev.chebval(_placed(near), _coefficients())
    return np.asarray(scaled * np.exp(-(near * near)), np.float64)


def _placed(x: Floats) -> Floats:
    """Return 0 ... FARTHEST as 1 ... -1, dense where the function bends."""
    least = 2.0 / (2.0 + FARTHEST)
    placed: Floats = (2.0 * 2.0 / (2.0 + x) - 1.0 - least) / (1.0 - least)
    return placed


@cache
def _coefficients() -> Floats:
    """Return the polynomial that meets ``math.erfc``, scaled to change slowly."""
    least = 2.0 / (2.0 + FARTHEST)
    places = np.polynomial.chebyshev.chebpts1(TERMS + 1)
    x = np.maximum(2.0 / (0.5 * (places * (1.0 - least) + 1.0 + least)) - 2.0, 0.0)
    scaled = [math.erfc(one) * math.exp(one * one) for one in x]
    return np.asarray(np.polynomial.chebyshev.chebfit(places, scaled, TERMS), np.float64)


def conformance_probability(
    measured: ArrayLike,
    uncertainty: ArrayLike,
    *,
    lower: ArrayLike = -math.inf,
    upper: ArrayLike = math.inf,
    floor: float = -math.inf,
) -> Floats:
    """Return how probable it is that what was measured lies between limits.

    Args:
        measured: the measured values, any shape, in one unit with all else.
        uncertainty: their standard uncertainties, broadcast to them, > 0.
        lower: the limit below, broadcast to them.
        upper: the limit above, broadcast to them.
        floor: what the true value cannot be below, such as 0 for a concentration.

    Source: JCGM 106:2012, section 7; with a floor ``[Phi((T - y)/u) - Phi((f - y)/u)] /
    [1 - Phi((f - y)/u)]``.
    """
    y, u = np.asarray(measured, np.float64), np.asarray(uncertainty, np.float64)
    below = np.maximum(np.asarray(lower, np.float64), floor)
    inside = normal_cdf((np.asarray(upper) - y) / u) - normal_cdf((below - y) / u)
    possible = normal_cdf((y - floor) / u)
    with np.errstate(invalid="ignore", divide="ignore"):
        found: Floats = np.clip(inside / possible, 0.0, 1.0)
    return found
