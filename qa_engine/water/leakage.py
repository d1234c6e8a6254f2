"""How what leaks from a bed reads on a conductivity meter, which salt it is being another matter.

Where the cation side holds and the anion side lets go, chloride and sulphate come out as acid,
which conducts some three times as well as the salt they came in as; bicarbonate comes out as
carbonic acid, which hardly conducts. Sodium that slips past the cation side comes out as caustic
soda, which reads about twofold.
"""

import numpy as np
from numpy.typing import ArrayLike

from qa_engine.water.equivalents import caco3_eq_l
from qa_engine.water.inputs import Floats, positive
from qa_engine.water.load import (
    HARD_WATER_CONDUCTANCE,
    REFERENCE_EQ_L,
    SALT_WATER_CONDUCTANCE,
)
from qa_engine.water.salts import HYDROCHLORIC_ACID, SODIUM_HYDROXIDE, equivalent_conductance

ACID_CONDUCTANCE = float(equivalent_conductance(HYDROCHLORIC_ACID, REFERENCE_EQ_L))
"""What hydrochloric acid conducts, about 419 [S cm2/eq, or uS/cm per meq/L]."""

CAUSTIC_CONDUCTANCE = float(equivalent_conductance(SODIUM_HYDROXIDE, REFERENCE_EQ_L))
"""What caustic soda conducts, about 243 [S cm2/eq, or uS/cm per meq/L]."""

USUAL_BICARBONATE_SHARE = HARD_WATER_CONDUCTANCE / (HARD_WATER_CONDUCTANCE + SALT_WATER_CONDUCTANCE)
"""Of the conductivity, where half of the equivalents are bicarbonate, about 0.44 [1]."""


def bicarbonate_share(conductivity_us_cm: ArrayLike, alkalinity_mg_l: ArrayLike = np.nan) -> Floats:
    """Return what part of a water's conductivity is due to bicarbonate [1], 0 to 1.

    Where the alkalinity is not known, half of the equivalents are taken to be bicarbonate, as the
    load of such a water is reckoned too.

    Args:
        conductivity_us_cm: at 25 degC, any shape [uS/cm], > 0; NaN gives NaN.
        alkalinity_mg_l: broadcast to it [mg/L as CaCO3], >= 0; NaN is unknown.

    Raises:
        ModelInputError: a number that no water has.
    """
    conductivity = positive("conductivity_us_cm", conductivity_us_cm)
    stated = 1000.0 * caco3_eq_l(alkalinity_mg_l) * HARD_WATER_CONDUCTANCE / conductivity
    share = np.where(np.isnan(stated), USUAL_BICARBONATE_SHARE, np.minimum(stated, 1.0))
    return np.where(np.isnan(conductivity), np.nan, share)


def acid_over_salt(conductivity_us_cm: ArrayLike, alkalinity_mg_l: ArrayLike = np.nan) -> Floats:
    """Return the reading of a water whose cations were taken for hydrogen, over its own [1].

    About 3.4 for a water of chlorides, half of that for ordinary tap water, 0 for a water of
    nothing but bicarbonate. Takes and refuses what ``bicarbonate_share`` does.
    """
    share = bicarbonate_share(conductivity_us_cm, alkalinity_mg_l)
    return (1.0 - share) * ACID_CONDUCTANCE / SALT_WATER_CONDUCTANCE
