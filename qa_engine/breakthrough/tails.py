"""The J function, of which breakthrough by reversible kinetics is made, with all its digits.

    J(r, t) = 1 - integral from 0 to r of exp(-t - x) I0(2 sqrt(t x)) dx

It is the chance that a chi-square variable of 2 degrees of freedom with non-centrality 2t exceeds
2r. A library's chi-square serves for ordinary arguments; but it vanishes far out, and where r is
small and t some hundreds one overflows. So the smaller of J and 1 - J is found here as a power of
e times an integral of positive numbers.

Sources, as customarily given: N. K. Hiester and T. Vermeulen, Chem. Eng. Prog. 48 (1952) 505; J is
Marcum's Q of sqrt(2t) and sqrt(2r), and his Q as an integral over an angle is classical.
"""

import numpy as np
from numpy.typing import ArrayLike

from qa_engine.water.inputs import Floats, not_negative

STEP, REACH = 0.15, 32.0
"""Trapezoids of this width reach this far to both sides: errors below 1e-13 of the integral."""

AT_ONCE = 4096
"""So many integrals are taken in one go, which bounds the memory [count]."""


def j_function(r: ArrayLike, t: ArrayLike) -> Floats:
    """Return J(r, t) [1], the breakthrough for a linear isotherm at r = N and t = N T.

    Args:
        r: any shape [1], >= 0.
        t: broadcast to it [1], >= 0.

    Raises:
        ModelInputError: an argument is negative or infinite.
    """
    root_r, root_t = np.broadcast_arrays(
        np.sqrt(not_negative("r", r)), np.sqrt(not_negative("t", t))
    )
    small: Floats = np.exp(log_small_part(root_r, root_t) - (root_r - root_t) ** 2)
    return np.where(root_t < root_r, small, 1.0 - small)


def log_small_part(root_r: Floats, root_t: Floats) -> Floats:
    """Return ln of the smaller of J and 1 - J, without its factor ``exp(-(sqrt r - sqrt t)^2)``.

    J(r, t) for t < r, 1 - J(r, t) from t = r on.

    Args:
        root_r: the root of r, any shape [1], >= 0.
        root_t: the root of t, of the same shape [1], >= 0.
    """
    from scipy.special import i0e

    bessel = i0e(2.0 * root_r * root_t)
    kernel = _over_poisson_kernel(root_r, root_t)
    small = 0.5 * np.where(root_t < root_r, kernel + bessel, kernel - bessel)
    # J(0, t) is 1, nothing is left of 1 - J; a difference below zero is rounding.
    with np.errstate(divide="ignore"):
        return np.asarray(np.log(np.maximum(small, 0.0)))


def _over_poisson_kernel(root_r: Floats, root_t: Floats) -> Floats:
    """Return the mean of ``exp(-z (1 - cos a))`` over angles a, weighed by Poisson's kernel.

    z = 2 sqrt(rt). With tan(a/2) = c e^x the kernel becomes sech(x)/pi; what is left is smooth,
    so that trapezoids on the whole line converge as fast as e^(-const/step).
    """
    z = 2.0 * root_r * root_t
    total = np.maximum(root_r + root_t, np.finfo(float).tiny)
    with np.errstate(divide="ignore"):
        log_c = np.log(np.abs(root_r - root_t) / total)
        centre = np.minimum(-0.5 * np.log(2.0 * z) - log_c, 0.0)
    means = np.empty(z.shape)
    for first in range(0, z.size, AT_ONCE):
        part = slice(first, first + AT_ONCE)
        means.flat[part] = _trapezoids(z.flat[part], log_c.flat[part], centre.flat[part])
    return means


def _trapezoids(z: Floats, log_c: Floats, centre: Floats) -> Floats:
    x = centre[:, np.newaxis] + np.arange(-REACH, REACH + STEP, STEP)
    with np.errstate(over="ignore"):
        falls = 2.0 * z[:, np.newaxis] / (1.0 + np.exp(-2.0 * (x + log_c[:, np.newaxis])))
    sums: Floats = np.sum(np.exp(-falls) / np.cosh(x), axis=1)
    return sums * STEP / np.pi
