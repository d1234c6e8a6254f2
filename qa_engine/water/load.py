"""The load of a water: how many equivalents a litre spends, from as much as is known of it.

Conductivity alone says how much salt there is, to within what kind of salt it is. Per equivalent,
a solution of sodium chloride conducts a good quarter better than one of calcium bicarbonate, and
tap waters lie between the two. The engine takes the mean at 2 meq/L (100 mg/L as CaCO3), about
109 uS/cm for each meq/L. From 0.4 to 6 meq/L the pure salts range from 91 to 125, so that a load
from conductivity alone is good to some 15 to 20 %, and leaves out carbon dioxide and silica.

An analysis narrows this: the alkalinity conducts as calcium bicarbonate, the rest as sodium
chloride; carbon dioxide and silica are added.
"""

import numpy as np
from numpy.typing import ArrayLike

from qa_engine.water.conductivity import LEAST_FOR_TDS_US_CM
from qa_engine.water.equivalents import anion_load_eq_l, caco3_eq_l, free_co2_mol_l
from qa_engine.water.inputs import Floats, not_negative
from qa_engine.water.salts import CALCIUM_BICARBONATE, SODIUM_CHLORIDE, equivalent_conductance

REFERENCE_EQ_L = 0.002
"""Concentration at which the equivalent conductances are taken [eq/L]."""

HARD_WATER_CONDUCTANCE = float(equivalent_conductance(CALCIUM_BICARBONATE, REFERENCE_EQ_L))
"""What calcium bicarbonate conducts, about 96 [S cm2/eq, or uS/cm per meq/L]."""

SALT_WATER_CONDUCTANCE = float(equivalent_conductance(SODIUM_CHLORIDE, REFERENCE_EQ_L))
"""What sodium chloride conducts, about 122 [S cm2/eq, or uS/cm per meq/L]."""

TAP_WATER_CONDUCTANCE = (HARD_WATER_CONDUCTANCE + SALT_WATER_CONDUCTANCE) / 2
"""What is taken for a water of which nothing but the conductivity is known, about 109."""


def load_eq_l(
    conductivity_us_cm: ArrayLike,
    *,
    alkalinity_mg_l: ArrayLike = np.nan,
    ph: ArrayLike = np.nan,
    silica_mg_l: ArrayLike = np.nan,
) -> Floats:
    """Return the equivalents that a litre of water spends of a mixed bed's anion side [eq/L].

    Water that shows less than 1 uS/cm counts as 1 uS/cm: a reading of zero is less than a digit,
    not nothing. An alkalinity that alone would conduct more than was measured is not that of this
    water (a polishing tank, another source) and counts only as far as the conductivity bears out.
    Carbon dioxide needs alkalinity and pH; what is not known of an analysis adds nothing.

    Args:
        conductivity_us_cm: at 25 degC, any shape [uS/cm], >= 0; NaN gives NaN.
        alkalinity_mg_l: broadcast to it [mg/L as CaCO3], >= 0; NaN is unknown.
        ph: broadcast to it [1], 0 to 14; NaN is unknown.
        silica_mg_l: broadcast to it [mg/L as SiO2], >= 0; NaN is unknown.

    Raises:
        ModelInputError: a number that no water has.
    """
    shown = not_negative("conductivity_us_cm", conductivity_us_cm)
    conductivity = np.maximum(shown, LEAST_FOR_TDS_US_CM) / 1000.0
    stated = caco3_eq_l(alkalinity_mg_l)
    alkalinity = np.minimum(stated, conductivity / HARD_WATER_CONDUCTANCE)
    rest = np.maximum(conductivity - alkalinity * HARD_WATER_CONDUCTANCE, 0.0)
    strong = np.where(
        np.isnan(stated), conductivity / TAP_WATER_CONDUCTANCE, rest / SALT_WATER_CONDUCTANCE
    )
    co2 = np.nan_to_num(free_co2_mol_l(alkalinity, ph))
    silica = np.nan_to_num(not_negative("silica_mg_l", silica_mg_l))
    return anion_load_eq_l(strong, np.nan_to_num(alkalinity), co2, silica)
