"""Mixed beds: cation and anion resin in one vessel, the weaker side spent first.

Three grades: ``standard mixed bed`` of new resin, ``regenerated mixed bed``, and
``colour-indicating mixed bed``, whose anion resin carries a dye. Capacity is that of the bed at
equilibrium, cut to what practice gets out of it; the load is what the water gives the anion side
to take up; the outlet follows a film-controlled breakthrough, read as the acid that leaks while
the cation side still holds.
"""

from dataclasses import dataclass

import numpy as np

from qa_engine.breakthrough import film_breakthrough
from qa_engine.depletion import (
    Capacity,
    Floats,
    Grade,
    ResinModel,
    Sharpness,
    Water,
    acid_reading,
    factor_of,
    shown_conductivity_us_cm,
    shown_tds_mg_l,
    units_at_flow,
)
from qa_engine.hookspecs import hookimpl
from qa_engine.water import load_eq_l, mixed_bed_capacity_eq_l

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

REGENERATED_FRACTION = 0.75
"""Capacity of regenerated over new resin, 0.6 to 0.9: common practice, no published source.

No regeneration is complete, and each lot has its own past.
"""

REGENERATED_SD_EQ_L = 0.12
"""Wider still against its mean: the scatter of new resin and that of 0.6 to 0.9 [eq/L]."""

FRESH_US_CM = 0.5
"""What a fresh, flushed bed lets through for good: common practice, no published source [uS/cm].

Mixed beds are said to give 0.06 to 1; most meters for TDS show 0 for all of that.
"""

ORIGIN = (
    "2 parts of cation resin to 3 of anion (DOE-HDBK-1015/2-93, Module 4), 1.9 eq/L cation (Davis,"
    " Water and Wastewater Engineering, 2010, p. 8-5); 1.1 eq/L anion and the 80 % put to use:"
    " common practice, no published source"
)
VALID = (
    "Fresh water of up to some 1200 mg/L that carries no oil, iron or chlorine worth mention, "
    "through a bed of full depth within the limits of flow."
)

STANDARD_MIXED_BED = Grade(
    name="standard mixed bed",
    bed="mixed bed",
    capacity=Capacity(EQUILIBRIUM_EQ_L * WORKING_FRACTION, WORKING_SD_EQ_L, ORIGIN),
    lowers_tds=True,
    outlet_after_change_mg_l=1.0,  # common practice, no published source
    least_flow_bv_h=8.0,
    greatest_flow_bv_h=40.0,
    flow_source="common practice, no published source",
    sharpness=Sharpness(20.0, 0.25, "an assumption, no published source"),
    density_kg_l=0.73,  # 0.4 x 0.80 + 0.6 x 0.68: common practice, no published source
    ph_low=0.0,  # resins of both strong kinds work at any pH: common practice
    ph_high=14.0,
    # Anion resin of type II in its hydroxide form: common practice, no published source. Davis
    # (2010, p. 8-20) has the shells of fibre-reinforced plastic in water plants below it too.
    greatest_temperature_deg_c=40.0,
    validity=VALID,
)

REGENERATED_MIXED_BED = Grade(
    name="regenerated mixed bed",
    bed="mixed bed",
    capacity=Capacity(
        EQUILIBRIUM_EQ_L * WORKING_FRACTION * REGENERATED_FRACTION,
        REGENERATED_SD_EQ_L,
        f"{ORIGIN}; three quarters of it left after regeneration, by lot from 60 to 90 %: common "
        "practice, no published source",
    ),
    lowers_tds=True,
    outlet_after_change_mg_l=1.0,  # common practice, no published source
    least_flow_bv_h=8.0,
    greatest_flow_bv_h=40.0,
    flow_source="common practice, no published source",
    sharpness=Sharpness(16.0, 0.4, "an assumption, no published source: blunter, and by lot"),
    density_kg_l=0.73,
    ph_low=0.0,
    ph_high=14.0,
    greatest_temperature_deg_c=40.0,
    validity=f"{VALID.removesuffix('.')}, by lots of which the readings tell more than the prior.",
)

COLOUR_INDICATING_MIXED_BED = Grade(
    name="colour-indicating mixed bed",
    bed="mixed bed",
    capacity=Capacity(
        EQUILIBRIUM_EQ_L * WORKING_FRACTION,
        WORKING_SD_EQ_L,
        f"{ORIGIN}; taken as without dye",
    ),
    lowers_tds=True,
    outlet_after_change_mg_l=1.0,  # common practice, no published source
    least_flow_bv_h=8.0,
    greatest_flow_bv_h=40.0,
    flow_source="common practice, no published source",
    colour_indicating=True,
    sharpness=Sharpness(20.0, 0.25, "an assumption, no published source"),
    density_kg_l=0.73,
    ph_low=0.0,
    ph_high=14.0,
    greatest_temperature_deg_c=40.0,
    validity=f"{VALID.removesuffix('.')}; the colour front runs with the anion side only.",
)


@dataclass(frozen=True)
class MixedBed:
    """A resin model of a mixed bed whose anion side is spent first."""

    grade: Grade = STANDARD_MIXED_BED

    def load_eq_l(self, water: Water) -> Floats:
        """Return what a litre of each water spends of the anion side, which limits [eq/L]."""
        return load_eq_l(
            shown_conductivity_us_cm(water),
            alkalinity_mg_l=water.alkalinity_mg_l,
            ph=water.ph,
            silica_mg_l=water.silica_mg_l,
        )

    def outlet_mg_l(
        self,
        used_fraction: Floats,
        water: Water,
        flow_bv_h: Floats,
        transfer_units: Floats | None = None,
    ) -> Floats:
        """Return what the meter shows at the outlet above pure water's zero [mg/L].

        Leaking anions read as acid, up to some threefold, but never as more than the inlet: when
        they all come through, so do the cations. A fresh bed shows a trace, not zero.
        """
        inlet = shown_tds_mg_l(water)
        units = units_at_flow(self.grade, flow_bv_h, transfer_units)
        leaking = inlet * acid_reading(water) * film_breakthrough(used_fraction, units)
        return np.minimum(inlet, np.maximum(leaking, FRESH_US_CM * factor_of(water)))


@hookimpl
def qa_resin_models() -> list[ResinModel]:
    """Offer the three mixed beds."""
    grades = (STANDARD_MIXED_BED, REGENERATED_MIXED_BED, COLOUR_INDICATING_MIXED_BED)
    return [MixedBed(grade) for grade in grades]
