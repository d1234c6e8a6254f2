"""Standard uncertainty of what a meter shows, from what is known of the meter and the water.

Every function takes numbers, arrays or polars expressions and returns the same. Sources: JCGM
100:2008 (GUM), 4.3.7 for bounds of a rectangular distribution, F.2.2.1 for the resolution of a
display, 5.1.2 for the propagation.
"""

import math
from typing import TypeVar

import numpy as np
import polars as pl
from numpy.typing import NDArray

Amount = TypeVar("Amount", float, pl.Expr, NDArray[np.float64])

COEFFICIENT_PER_K = 0.02
"""Temperature coefficient that meters compensate with [1/K]: common practice, no published
source."""

COEFFICIENT_HALF_WIDTH_PER_K = 0.002
"""How far the coefficient of a real water may be from it [1/K].

That of 0.01 mol/kg KCl is 0.0189 to 0.0199 from 15 to 35 degC (CRC Handbook, table after Wu, Koch &
Pratt, J. Res. NIST 96 (1991) 191); twice that distance is common practice, no published source.
"""

REFERENCE_DEGC = 25.0
"""The temperature that conductivity is referred to [degC]."""

COLDEST_DEGC = 0.0
"""Water is reckoned this cold where its temperature is not logged: there compensation is worst."""

USUAL_FACTOR = 0.6
FACTOR_HALF_WIDTH = 0.1
"""Factors that meters use, 0.5 to 0.7 mg/L per uS/cm: common practice, no published source."""


def rectangular(half_width: Amount) -> Amount:
    """Return the standard uncertainty of a value that may lie anywhere within a half-width."""
    return half_width / math.sqrt(3)


def of_resolution(step: Amount) -> Amount:
    """Return the standard uncertainty that a display's smallest step brings with it."""
    return step / math.sqrt(12)


def specified_half_width(shown: Amount, percent: Amount, digits: Amount, step: Amount) -> Amount:
    """Return the half-width that a data sheet's "percent of reading plus digits" comes to.

    The two are added: some laboratories take the root of the sum of squares, but a data sheet
    promises no more than the sum.

    Args:
        shown: the reading.
        percent: part of it [%].
        digits: how many steps of the display.
        step: the smallest step of the display, in the unit of the reading.
    """
    return shown * percent / 100 + digits * step


def combined(first: Amount, *others: Amount) -> Amount:
    """Return the root of the sum of squares of independent standard uncertainties."""
    total = first * first
    for other in others:
        total = total + other * other
    return total**0.5  # type: ignore[no-any-return]  # a float's power may be complex


def slope_at_25(temperature_degc: Amount, coefficient_per_k: Amount) -> Amount:
    """Return by how much a conductivity is divided to refer it to 25 degC."""
    return (temperature_degc - REFERENCE_DEGC) * coefficient_per_k + 1.0


def parts_at_25(
    measured_us_cm: Amount,
    temperature_degc: Amount,
    coefficient_per_k: Amount,
    uncertainties: tuple[Amount, Amount, Amount],
) -> tuple[Amount, Amount, Amount]:
    """Return what each input contributes to the uncertainty of a conductivity at 25 degC [uS/cm].

    ``k25 = kT / (1 + a (T - 25))``; the contributions are the sensitivities times the standard
    uncertainties of kT, T and a, with their signs.
    """
    slope = slope_at_25(temperature_degc, coefficient_per_k)
    at_25 = measured_us_cm / slope
    of_measured, of_temperature, of_coefficient = uncertainties
    return (
        of_measured / slope,
        -at_25 * coefficient_per_k / slope * of_temperature,
        -at_25 * (temperature_degc - REFERENCE_DEGC) / slope * of_coefficient,
    )


def of_tds(
    conductivity: Amount, of_conductivity: Amount, factor: Amount, of_factor: Amount
) -> Amount:
    """Return the standard uncertainty of a TDS made of conductivity by an uncertain factor [mg/L].

    Between meters the factor outweighs all else; on one meter's own scale it is a convention and
    has no uncertainty.
    """
    return combined(of_conductivity * factor, conductivity * of_factor)
