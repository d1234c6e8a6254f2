"""The grade ``softening``: cation resin in its sodium form, which trades hardness for sodium.

It does not lower TDS, so no rule about outlet TDS applies to it: it is judged by hardness, from
analyses of the water. A run ends when the resin is regenerated with salt, which is logged as a
resin change like any other.
"""

from dataclasses import dataclass

import numpy as np

from qa_engine.depletion import (
    Capacity,
    Floats,
    Grade,
    ResinModel,
    Water,
    shown_conductivity_us_cm,
    shown_tds_mg_l,
)
from qa_engine.hookspecs import hookimpl
from qa_engine.units import conversion
from qa_engine.water import caco3_eq_l, load_eq_l

CEILING_EQ_L = 20.0 / conversion("eq/L", "kgr/ft3 as CaCO3").factor
"""Design ceiling for softening, 20 kgr/ft3 or 0.915 eq/L: Ten States Standards, 4.4.2 [eq/L]."""

LEAST_HARDNESS_MG_L = 1.0
"""An analysis that finds none has found less than this [mg/L as CaCO3]."""

SOFTENING = Grade(
    name="softening",
    bed="softening",
    capacity=Capacity(
        0.85 * CEILING_EQ_L,
        0.15,
        "some way below the design ceiling of 20 kgr/ft3 (Ten States Standards, 4.4.2): common "
        "practice, no published source",
    ),
    lowers_tds=False,
    outlet_after_change_mg_l=0.0,  # never asked for: the bed does not lower TDS
    least_flow_bv_h=8.0,
    greatest_flow_bv_h=40.0,
    flow_source="common practice, no published source",
    density_kg_l=0.8,  # Davis, Water and Wastewater Engineering (2010), Example 8-4
    ph_low=0.0,  # strong-acid resin works at any pH: common practice
    ph_high=14.0,
    # Davis (2010, p. 8-20): shells of fibre-reinforced plastic in water plants; the resin itself
    # would stand more.
    greatest_temperature_deg_c=40.0,
    validity="Fresh water of which the hardness is analysed; without that it counts as all hard.",
)


@dataclass(frozen=True)
class SofteningBed:
    """A resin model of a sodium-form softening bed."""

    grade: Grade = SOFTENING

    def load_eq_l(self, water: Water) -> Floats:
        """Return the hardness of a litre of each water [eq/L].

        Where no analysis tells it, all salts count as hardness, so that less water is left.
        """
        hardness = caco3_eq_l(np.maximum(water.hardness_mg_l, LEAST_HARDNESS_MG_L))
        return np.where(np.isnan(hardness), load_eq_l(shown_conductivity_us_cm(water)), hardness)

    def outlet_mg_l(
        self,
        used_fraction: Floats,
        water: Water,
        flow_bv_h: Floats,
        transfer_units: Floats | None = None,
    ) -> Floats:
        """Return the reading of the inlet [mg/L]: a meter cannot tell sodium from hardness."""
        units = 1.0 if transfer_units is None else transfer_units
        shape = np.broadcast_shapes(np.shape(used_fraction), np.shape(flow_bv_h), np.shape(units))
        return shown_tds_mg_l(water) + np.zeros(shape)


@hookimpl
def qa_resin_models() -> list[ResinModel]:
    """Offer the softening bed."""
    return [SofteningBed()]
