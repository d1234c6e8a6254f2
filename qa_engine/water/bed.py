"""Arithmetic of an exchange bed: capacity, the water it can treat, and how fast the water goes."""

import numpy as np
from numpy.typing import ArrayLike

from qa_engine.water.inputs import Floats, not_negative, positive, within


def mixed_bed_capacity_eq_l(
    cation_fraction: ArrayLike, cation_eq_l: ArrayLike, anion_eq_l: ArrayLike
) -> Floats:
    """Return the capacity of a litre of mixed resin, that of its weaker side [eq/L].

    Args:
        cation_fraction: cation resin by volume, any shape [1], 0 to 1.
        cation_eq_l: capacity of the cation resin by itself, broadcast to it [eq/L], > 0.
        anion_eq_l: capacity of the anion resin by itself, broadcast to it [eq/L], > 0.

    Raises:
        ModelInputError: the fraction is outside 0 to 1, or a capacity is not positive.
    """
    cation = within("cation_fraction", cation_fraction, low=0.0, high=1.0)
    return np.minimum(
        cation * positive("cation_eq_l", cation_eq_l),
        (1.0 - cation) * positive("anion_eq_l", anion_eq_l),
    )


def shared_capacity_eq_l(
    capacity_eq_l: ArrayLike,
    wanted_eq_l: ArrayLike,
    other_eq_l: ArrayLike,
    separation_factor: ArrayLike,
) -> Floats:
    """Return how much of one of two competing ions a resin holds at equilibrium [eq/L].

    ``q C1 / (C1 + C2/a)`` for a constant separation factor a of the first over the second.

    Args:
        capacity_eq_l: of the resin, any shape [eq/L], >= 0.
        wanted_eq_l: the first ion in the water, broadcast to it [eq/L], > 0.
        other_eq_l: the second ion in the water, broadcast to it [eq/L], >= 0.
        separation_factor: how much the resin prefers the first [1], > 0.

    Raises:
        ModelInputError: an argument is outside its range.

    Source: M. L. Davis, Water and Wastewater Engineering (McGraw-Hill 2010), Example 8-1.
    """
    wanted = positive("wanted_eq_l", wanted_eq_l)
    preference = positive("separation_factor", separation_factor)
    other = not_negative("other_eq_l", other_eq_l) / preference
    return not_negative("capacity_eq_l", capacity_eq_l) * wanted / (wanted + other)


def throughput_l(
    capacity_eq_l: ArrayLike,
    resin_l: ArrayLike,
    load_eq_l: ArrayLike,
    usable_fraction: ArrayLike = 1.0,
) -> Floats:
    """Return the water that uses up a bed, by the balance of equivalents [L].

    Args:
        capacity_eq_l: of a litre of resin, any shape [eq/L], >= 0.
        resin_l: resin in the bed, broadcast to it [L], >= 0.
        load_eq_l: what a litre of water spends, broadcast to it [eq/L], > 0.
        usable_fraction: share of the capacity put to use, broadcast to it [1], 0 to 1.

    Raises:
        ModelInputError: an argument is outside its range.
    """
    usable = within("usable_fraction", usable_fraction, low=0.0, high=1.0)
    capacity = not_negative("capacity_eq_l", capacity_eq_l) * not_negative("resin_l", resin_l)
    return usable * capacity / positive("load_eq_l", load_eq_l)


def flow_bv_h(flow_l_min: ArrayLike, resin_l: ArrayLike) -> Floats:
    """Return a flow in bed volumes per hour [BV/h].

    Args:
        flow_l_min: any shape [L/min], >= 0.
        resin_l: resin in the bed, broadcast to it [L], > 0.

    Raises:
        ModelInputError: a flow is negative or there is no resin.
    """
    return not_negative("flow_l_min", flow_l_min) * 60.0 / positive("resin_l", resin_l)


def velocity_m_h(flow_l_min: ArrayLike, bore_mm: ArrayLike) -> Floats:
    """Return the velocity of the water in the empty shell [m/h].

    Args:
        flow_l_min: any shape [L/min], >= 0.
        bore_mm: inner diameter of the shell, broadcast to it [mm], > 0.

    Raises:
        ModelInputError: a flow is negative or a bore is not positive.
    """
    area_m2 = np.pi / 4.0 * (positive("bore_mm", bore_mm) / 1000.0) ** 2
    flow_m3_h = not_negative("flow_l_min", flow_l_min) * 0.06
    return np.asarray(flow_m3_h / area_m2, dtype=np.float64)
