"""Beds as they truly are: many columns of resin at once, cut into cells, filled by the water film.

This is another road than the closed curve that the models use. Each cell takes up what diffuses
through the film around its beads until it is full; the next cell gets what is left. The flow and
the temperature of each rinse set how fast that goes. What comes out is acid: the meter sees
hydrogen ions, the anions of strong acids, and the little that carbonic acid gives.

Sources: transfer through the film goes with about the root of the velocity (J. J. Carberry, AIChE
J. 6 (1960) 460, exponent as customarily given); its temperature coefficient of 2 to 3 %/K and the
first constant of carbonic acid (pK1 = 6.352) as customarily given.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

CELLS = 60
SUBSTEPS = 4
FLOW_EXPONENT = -0.5
PER_DEG_C = 0.025
REFERENCE_DEG_C = 12.0
K1_CARBONIC = 10**-6.352
HYDROGEN, STRONG_ANION, BICARBONATE = 349.65, 77.0, 44.5
"""Equivalent conductances, 25 degC [S cm2/eq]."""


@dataclass
class Columns:
    """Beds side by side, all arrays of the shape (columns,) but for what the cells hold.

    Attributes:
        capacity_eq: what each bed can take up [eq].
        units: film transfer units at its usual flow and the reference temperature [1].
        usual_l_min: that flow [L/min].
        held_eq: what each cell holds, shape (cells, columns) [eq].
        fed_eq: what has come in so far [eq].
    """

    capacity_eq: Floats
    units: Floats
    usual_l_min: Floats
    held_eq: Floats
    fed_eq: Floats

    @classmethod
    def fresh(cls, capacity_eq: Floats, units: Floats, usual_l_min: Floats) -> "Columns":
        return cls(
            capacity_eq, units, usual_l_min, np.zeros((CELLS, len(units))), np.zeros(len(units))
        )

    @property
    def used(self) -> Floats:
        """Return what has come in over each bed's capacity [1]."""
        return self.fed_eq / self.capacity_eq

    def treat(self, litres: Floats, inlet_eq_l: Floats, l_min: Floats, deg_c: Floats) -> Floats:
        """Pass water through each bed and return the mean concentration that leaves it [eq/L]."""
        warmth = 1.0 + PER_DEG_C * (deg_c - REFERENCE_DEG_C)
        units = self.units * warmth * (l_min / self.usual_l_min) ** FLOW_EXPONENT
        passing = np.exp(-units / CELLS)
        part_l = np.maximum(litres, 1e-9) / SUBSTEPS
        leaves = np.zeros_like(litres)
        self.fed_eq += inlet_eq_l * litres
        for _ in range(SUBSTEPS):
            stream = inlet_eq_l.copy()
            for held in self.held_eq:
                room = self.capacity_eq / CELLS - held
                taken = np.minimum(stream * (1.0 - passing) * part_l, room)
                held += taken
                stream -= taken / part_l
            leaves += stream
        return leaves / SUBSTEPS


def acid_us_cm(leaking_eq_l: Floats, alkaline_share: Floats) -> Floats:
    """Return what the leaking anions conduct as acids [uS/cm].

    Args:
        leaking_eq_l: all anions that leave the bed [eq/L].
        alkaline_share: how much of them is bicarbonate, now carbonic acid [1].
    """
    strong = leaking_eq_l * (1.0 - alkaline_share)
    carbonic = leaking_eq_l * alkaline_share
    hydrogen = (strong + np.sqrt(strong**2 + 4.0 * K1_CARBONIC * carbonic)) / 2.0
    return 1000.0 * (
        hydrogen * HYDROGEN + strong * STRONG_ANION + (hydrogen - strong) * BICARBONATE
    )
