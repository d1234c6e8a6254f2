"""How well a solution of one salt conducts at 25 degC, by Onsager's limiting law.

In water at 25 degC the equivalent conductance of a salt falls with the square root of the ionic
strength I [mol/L]: for charges z+ and z-,

    L = L0 - [A (z+ + z-)/2 + 2 (1 + sqrt(1/2)) B z+ z- q/(1 + sqrt q) L0] sqrt(I)
    q = z+ z- (l+ + l-) / [(z+ + z-) (z- l+ + z+ l-)]

which for one charge each is the familiar L0 - (A + B L0) sqrt(c). The law is that of L. Onsager,
Phys. Z. 28 (1927) 277; its constants are given as customarily tabulated, not read there.
"""

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import ArrayLike

from qa_engine.water.conductivity import PURE_WATER_US_CM
from qa_engine.water.inputs import Floats, within
from qa_engine.water.ions import (
    BICARBONATE,
    CALCIUM,
    CHLORIDE,
    HYDROGEN,
    HYDROXIDE,
    SODIUM,
    Ion,
)

ELECTROPHORETIC = 60.20
"""A: the drag of the counter-ions' water, 25 degC [S cm2/eq per sqrt(mol/L)]."""

RELAXATION = 0.229
"""B: the lag of the ionic cloud for two single charges, 25 degC [1 per sqrt(mol/L)]."""

GREATEST_EQ_L = 0.02
"""Up to here the law serves, by then some 2 % low for sodium chloride, 1.2 g/L of it [eq/L]."""


@dataclass(frozen=True)
class Salt:
    """A salt, acid or base that splits into one kind of cation and one kind of anion."""

    cation: Ion
    anion: Ion

    @property
    def g_per_eq(self) -> float:
        """Return the equivalent mass [g/eq]."""
        return sum(ion.g_per_mol / ion.equivalents for ion in (self.cation, self.anion))

    @property
    def limiting_conductance(self) -> float:
        """Return the equivalent conductance at infinite dilution [S cm2/eq]."""
        return self.cation.conductance + self.anion.conductance

    @property
    def slope(self) -> float:
        """Return how fast the conductance falls with the root of the ionic strength."""
        plus, minus = self.cation.equivalents, self.anion.equivalents
        crossed = minus * self.cation.conductance + plus * self.anion.conductance
        q = plus * minus * self.limiting_conductance / ((plus + minus) * crossed)
        relaxation = 2 * (1 + sqrt(0.5)) * RELAXATION * plus * minus * q / (1 + sqrt(q))
        return ELECTROPHORETIC * (plus + minus) / 2 + relaxation * self.limiting_conductance

    @property
    def ionic_strength_per_eq(self) -> float:
        """Return the ionic strength of a solution of one equivalent per litre [mol/L]."""
        return (self.cation.equivalents + self.anion.equivalents) / 2


SODIUM_CHLORIDE = Salt(SODIUM, CHLORIDE)
CALCIUM_BICARBONATE = Salt(CALCIUM, BICARBONATE)
HYDROCHLORIC_ACID = Salt(HYDROGEN, CHLORIDE)
SODIUM_HYDROXIDE = Salt(SODIUM, HYDROXIDE)


def equivalent_conductance(salt: Salt, eq_l: ArrayLike) -> Floats:
    """Return what an equivalent of the salt conducts at this concentration [S cm2/eq].

    The number is also that of uS/cm for each meq/L.

    Args:
        salt: which salt.
        eq_l: concentration, any shape [eq/L], 0 to 0.02.

    Raises:
        ModelInputError: the concentration is outside the range of the law.
    """
    concentration = within("eq_l", eq_l, low=0.0, high=GREATEST_EQ_L)
    strength = concentration * salt.ionic_strength_per_eq
    return salt.limiting_conductance - salt.slope * np.sqrt(strength)


def salt_conductivity(salt: Salt, eq_l: ArrayLike) -> Floats:
    """Return the conductivity of a solution of the salt, that of the water included [uS/cm].

    Takes and refuses what ``equivalent_conductance`` does. Ion pairs are left out: for calcium
    bicarbonate the result is within 2 % up to 300 mg/L as CaCO3.
    """
    conductance = equivalent_conductance(salt, eq_l)
    return 1000.0 * conductance * np.asarray(eq_l, dtype=np.float64) + PURE_WATER_US_CM


def sodium_chloride_conductivity(mg_l: ArrayLike) -> Floats:
    """Return the conductivity of a sodium chloride solution at 25 degC [uS/cm].

    Args:
        mg_l: any shape [mg/L], 0 to about 1168; within 1 % up to 500 mg/L.

    Raises:
        ModelInputError: the concentration is outside the range of the law.

    Source of the check: M. Frankel, Facility Piping Systems Handbook, Table 4.3.
    """
    ions = np.asarray(mg_l, dtype=np.float64)
    return salt_conductivity(SODIUM_CHLORIDE, ions / SODIUM_CHLORIDE.g_per_eq / 1000.0)
