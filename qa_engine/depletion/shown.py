"""What a meter shows of the inlet water, from as much of it as was read."""

import numpy as np

from qa_engine.depletion.model import Floats, Water
from qa_engine.water import LEAST_FOR_TDS_US_CM, acid_over_salt, conductivity_of_tds

ASSUMED_FACTOR = 0.5
"""For a meter whose factor is not known [mg/L per uS/cm].

That of a sodium chloride scale, 0.46 to 0.49 in M. Frankel, Facility Piping Systems Handbook,
Table 4.3, rounded. It errs to the side of more salt and so of less water left.
"""


def factor_of(water: Water) -> Floats:
    """Return how each meter makes TDS of conductivity [mg/L per uS/cm], assumed where unknown."""
    return np.where(water.factor > 0.0, water.factor, ASSUMED_FACTOR)


def shown_conductivity_us_cm(water: Water) -> Floats:
    """Return the conductivity of each water [uS/cm], from the meter's TDS where it was not read.

    NaN where neither is known.

    Raises:
        ModelInputError: a TDS is negative.
    """
    from_tds = conductivity_of_tds(water.tds_mg_l, factor_of(water))
    return np.where(np.isnan(water.conductivity_us_cm), from_tds, water.conductivity_us_cm)


def shown_tds_mg_l(water: Water) -> Floats:
    """Return what the meter shows as TDS of each water [mg/L], from conductivity where not read.

    NaN where neither is known.
    """
    from_conductivity = water.conductivity_us_cm * factor_of(water)
    return np.where(np.isnan(water.tds_mg_l), from_conductivity, water.tds_mg_l)


def acid_reading(water: Water) -> Floats:
    """Return what an equivalent that leaks as acid reads as, over one of the inlet [1], >= 1.

    Some threefold for chloride and sulphate. Bicarbonate leaks as carbonic acid, which would read
    as less than the salt it came from; it counts as the salt, to warn early.
    """
    conductivity = np.maximum(shown_conductivity_us_cm(water), LEAST_FOR_TDS_US_CM)
    return np.maximum(acid_over_salt(conductivity, water.alkalinity_mg_l), 1.0)
