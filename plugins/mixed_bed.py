"""The grade ``standard mixed bed``: cation and anion resin mixed, its weaker side spent first.

Capacity is that of the bed at equilibrium, cut to what practice gets out of it; the load is what
the water gives the anion side to take up; the outlet follows a film-controlled breakthrough.
"""

from dataclasses import dataclass, field

import numpy as np

from qa_engine.depletion import Capacity, Floats, Grade, ResinModel, Water
from qa_engine.hookspecs import hookimpl
from qa_engine.water import conductivity_of_tds, load_eq_l, mixed_bed_capacity_eq_l, not_negative

CATION_FRACTION = 0.4
"""Cation resin by volume: 2 parts to 3 of anion, DOE-HDBK-1015/2-93, Module 4."""

CATION_EQ_L = 1.9
"""Strong-acid cation resin, 1.8 to 2.0: M. L. Davis, Water and Wastewater Engineering, p. 8-5."""

ANION_EQ_L = 1.1
"""Strong-base anion resin, from 1.0 to 1.4: common practice, no published source."""

EQUILIBRIUM_EQ_L = float(mixed_bed_capacity_eq_l(CATION_FRACTION, CATION_EQ_L, ANION_EQ_L))
"""The anion side limits: min(0.4 x 1.9, 0.6 x 1.1) = 0.66 eq per litre of mixed resin."""

WORKING_FRACTION = 0.8
"""Share of it that a bed in service gives: common practice, no published source."""

WORKING_SD_EQ_L = 0.1
"""Wide on purpose: lots differ, and what is called spent differs [eq/L]."""

CAPACITY = Capacity(
    EQUILIBRIUM_EQ_L * WORKING_FRACTION,
    WORKING_SD_EQ_L,
    "2 parts of cation resin to 3 of anion (DOE-HDBK-1015/2-93, Module 4), 1.9 eq/L cation (Davis,"
    " Water and Wastewater Engineering, 2010, p. 8-5); 1.1 eq/L anion and the 80 % put to use:"
    " common practice, no published source",
)

ASSUMED_FACTOR = 0.5
"""For a meter whose factor is not known [mg/L per uS/cm].

That of a sodium chloride scale, 0.46 to 0.49 in M. Frankel, Facility Piping Systems Handbook,
Table 4.3, rounded. It errs to the side of more salt and so of less water left.
"""

TRANSFER_UNITS = 20.0
"""How sharp the breakthrough is: an assumption, no published source [1]."""

STANDARD_MIXED_BED = Grade(
    name="standard mixed bed",
    bed="mixed bed",
    capacity=CAPACITY,
    lowers_tds=True,
    outlet_after_change_mg_l=1.0,  # common practice, no published source
    least_flow_bv_h=8.0,
    greatest_flow_bv_h=40.0,
    flow_source="common practice, no published source",
)


def film_breakthrough(used_fraction: Floats, transfer_units: float) -> Floats:
    """Return outlet over inlet concentration of an irreversible bed under film control [1].

    ``exp(-N)`` while T < 1/N, ``exp(N (T - 1) - 1)`` up to T = 1 + 1/N, then 1. Mixed beds are
    taken so because hydrogen and hydroxide make water of each other, which leaves nothing to come
    back, and the film of water around the beads sets the pace.

    Args:
        used_fraction: T, equivalents fed over equivalents of capacity, any shape [1], >= 0.
        transfer_units: N [1], > 0.

    Raises:
        ModelInputError: a used fraction is negative.

    Source of the rate step: AIChE J. 6 (1960), doi:10.1002/aic.690060426.
    """
    used = not_negative("used_fraction", used_fraction)
    exponent = transfer_units * (used - 1.0) - 1.0
    return np.exp(np.clip(exponent, -transfer_units, 0.0))


@dataclass(frozen=True)
class MixedBed:
    """A resin model of a mixed bed; its parts can be set to another lot's figures."""

    grade: Grade = field(default=STANDARD_MIXED_BED)
    transfer_units: float = TRANSFER_UNITS

    def load_eq_l(self, water: Water) -> Floats:
        """Return what a litre of each water spends of the anion side, which limits [eq/L]."""
        return load_eq_l(
            _conductivity_us_cm(water),
            alkalinity_mg_l=water.alkalinity_mg_l,
            ph=water.ph,
            silica_mg_l=water.silica_mg_l,
        )

    def outlet_mg_l(self, used_fraction: Floats, water: Water, flow_bv_h: Floats) -> Floats:
        """Return what the meter shows at the outlet above pure water's zero [mg/L].

        The flow is not weighed: one sharpness stands for every flow within the grade's limits.
        """
        from_conductivity = water.conductivity_us_cm * _factor(water)
        inlet = np.where(np.isnan(water.tds_mg_l), from_conductivity, water.tds_mg_l)
        return inlet * film_breakthrough(used_fraction, self.transfer_units)


def _factor(water: Water) -> Floats:
    return np.where(water.factor > 0.0, water.factor, ASSUMED_FACTOR)


def _conductivity_us_cm(water: Water) -> Floats:
    """Return the conductivity, from the meter's TDS where it was not read itself."""
    from_tds = conductivity_of_tds(water.tds_mg_l, _factor(water))
    return np.where(np.isnan(water.conductivity_us_cm), from_tds, water.conductivity_us_cm)


@hookimpl
def qa_resin_models() -> list[ResinModel]:
    """Offer the standard mixed bed."""
    return [MixedBed()]
