"""Conductivity, what temperature does to it, and the TDS that meters make of it.

TDS on a meter is conductivity times a factor, and the factor is a convention of the meter: salt
solutions sit near 0.5, natural waters higher. To compare meters, go back to conductivity.
"""

import numpy as np
from numpy.typing import ArrayLike

from qa_engine.water.inputs import Floats, not_negative, positive, within

PURE_WATER_US_CM = 0.055
"""Conductivity of water with no ions but its own, 25 degC [uS/cm].

Sources: M. Frankel, Facility Piping Systems Handbook, Table 4.3 (0.055); DOE-HDBK-1015/2-93,
Module 4 (0.054).
"""

LEAST_FOR_TDS_US_CM = 1.0
"""Below this, conductivity tells nothing of dissolved solids [uS/cm].

Pure water that has stood open to the air conducts about this much from carbon dioxide alone
(CRC Handbook, table of KCl solutions: 1.10 at 25 degC), and the ions of water begin to matter.
"""

USUAL_COEFFICIENT_PER_K = 0.02
"""The temperature coefficient most meters use: common practice, no published source [1/K]."""


def conductivity_at_25(
    measured_us_cm: ArrayLike,
    temperature_degc: ArrayLike,
    coefficient_per_k: ArrayLike = USUAL_COEFFICIENT_PER_K,
) -> Floats:
    """Return what a conductivity measured without compensation would be at 25 degC [uS/cm].

    Linear: ``k25 = kT / (1 + a (T - 25))``. With a = 0.02 the result for tap water is within 2.5 %
    from 0 to 35 degC. Not for water below some 1 uS/cm, whose own slope is 5 to 6 %/K, and never
    for a reading that the meter has compensated already.

    Args:
        measured_us_cm: as measured, any shape [uS/cm], >= 0.
        temperature_degc: of the water then, broadcast to it [degC], 0 to 50.
        coefficient_per_k: broadcast to it [1/K], 0 to 0.03.

    Raises:
        ModelInputError: an argument is outside its range.
    """
    measured = not_negative("measured_us_cm", measured_us_cm)
    temperature = within("temperature_degc", temperature_degc, low=0.0, high=50.0)
    coefficient = within("coefficient_per_k", coefficient_per_k, low=0.0, high=0.03)
    return measured / (1.0 + coefficient * (temperature - 25.0))


def tds_of_conductivity(conductivity_us_cm: ArrayLike, factor: ArrayLike) -> Floats:
    """Return the TDS that a meter of this factor shows [mg/L]; NaN below 1 uS/cm.

    Args:
        conductivity_us_cm: at 25 degC, any shape [uS/cm], >= 0.
        factor: of the meter, broadcast to it [mg/L per uS/cm], > 0.

    Raises:
        ModelInputError: a conductivity is negative or a factor is not positive.
    """
    conductivity = not_negative("conductivity_us_cm", conductivity_us_cm)
    told = np.where(conductivity < LEAST_FOR_TDS_US_CM, np.nan, conductivity)
    return told * positive("factor", factor)


def conductivity_of_tds(tds_mg_l: ArrayLike, factor: ArrayLike) -> Floats:
    """Return the conductivity at 25 degC behind a meter's TDS [uS/cm].

    Args:
        tds_mg_l: as the meter shows it, any shape [mg/L], >= 0.
        factor: of the meter, broadcast to it [mg/L per uS/cm], > 0.

    Raises:
        ModelInputError: a TDS is negative or a factor is not positive.
    """
    return not_negative("tds_mg_l", tds_mg_l) / positive("factor", factor)


def resistivity_mohm_cm(conductivity_us_cm: ArrayLike) -> Floats:
    """Return the resistivity, the reciprocal of the conductivity [Mohm cm].

    Raises:
        ModelInputError: a conductivity is not positive; even pure water conducts.
    """
    return 1.0 / positive("conductivity_us_cm", conductivity_us_cm)
