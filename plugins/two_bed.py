"""Two beds one after the other: cation resin, then anion resin; for quantity rather than quality.

``two-bed`` is the pair looked at as one, with the resin of both. Where each vessel is a tank of
its own in the register (position ``cation``, and ``anion`` with ``after_tank``), their grades are
``two-bed cation`` and ``two-bed anion``. The inlet of the anion vessel is what the cation vessel
gives: acid, which a meter shows as more than the tap water. So a cation vessel does not lower
TDS, and only the outlet of the anion vessel tells of the rinse.

Some sodium always slips past the cation resin and leaves as caustic soda, so that even a fresh
pair reads a few mg/L: that is normal.
"""

from dataclasses import dataclass, replace

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
    shown_conductivity_us_cm,
    shown_tds_mg_l,
    units_at_flow,
)
from qa_engine.hookspecs import hookimpl
from qa_engine.water import (
    ACID_CONDUCTANCE,
    CAUSTIC_CONDUCTANCE,
    LEAST_FOR_TDS_US_CM,
    TAP_WATER_CONDUCTANCE,
    anion_load_eq_l,
    caco3_eq_l,
    free_co2_mol_l,
    load_eq_l,
    mixed_bed_capacity_eq_l,
)

CATION_FRACTION = 0.4
"""Cation resin by volume, as in a mixed bed: common practice, no published source."""

CATION_EQ_L = 1.9
"""Strong-acid cation resin, 1.8 to 2.0: M. L. Davis, Water and Wastewater Engineering, p. 8-5."""

ANION_EQ_L = 1.1
"""Strong-base anion resin, from 1.0 to 1.4: common practice, no published source."""

CATION_WORKING = 0.65
"""Share put to use: 60 to 67 % in Davis, Example 8-3 and Problem 8-2, both of softening."""

ANION_WORKING = 0.8
"""Share put to use: common practice, no published source."""

SODIUM_LEAKAGE = 0.02
"""Share of the cations that slips through as sodium: common practice, no published source.

For tap water of 300 uS/cm it makes some 13 uS/cm of caustic soda; pairs are said to give 2 to 20.
"""

NO_SOURCE = "common practice, no published source"
VALID = (
    "Fresh water of up to some 1200 mg/L that carries no oil, iron or chlorine worth mention, "
    "through beds of full depth within the limits of flow, where the anion bed is spent first."
)

TWO_BED = Grade(
    name="two-bed",
    bed="two-bed",
    capacity=Capacity(
        float(mixed_bed_capacity_eq_l(CATION_FRACTION, CATION_EQ_L, ANION_EQ_L)) * ANION_WORKING,
        0.1,
        "per litre of both resins: 1.9 eq/L cation (Davis, Water and Wastewater Engineering, 2010, "
        f"p. 8-5), 2 parts to 3 of anion, 1.1 eq/L anion, 80 % put to use: {NO_SOURCE}",
    ),
    lowers_tds=True,
    outlet_after_change_mg_l=10.0,  # sodium leakage is normal; common practice, no published source
    least_flow_bv_h=8.0,
    greatest_flow_bv_h=40.0,
    flow_source=NO_SOURCE,
    sharpness=Sharpness(20.0, 0.35, "an assumption, no published source"),
    density_kg_l=0.73,  # 0.4 x 0.80 + 0.6 x 0.68: common practice, no published source
    ph_low=0.0,  # resins of both strong kinds work at any pH: common practice
    ph_high=14.0,
    # Anion resin of type II in its hydroxide form: common practice, no published source. Davis
    # (2010, p. 8-20) has the shells of fibre-reinforced plastic in water plants below it too.
    greatest_temperature_deg_c=40.0,
    validity=VALID,
)

TWO_BED_CATION = replace(
    TWO_BED,
    name="two-bed cation",
    capacity=Capacity(
        CATION_EQ_L * CATION_WORKING,
        0.2,
        "1.9 eq/L, 65 % put to use (Davis, Water and Wastewater Engineering, 2010, p. 8-5, "
        f"Example 8-3, Problem 8-2); their scatter: {NO_SOURCE}",
    ),
    lowers_tds=False,
    density_kg_l=0.8,  # Davis (2010), Example 8-4
    validity="The first vessel of a pair; that it is spent shows at the anion vessel, as sodium.",
)

TWO_BED_ANION = replace(
    TWO_BED,
    name="two-bed anion",
    capacity=Capacity(
        ANION_EQ_L * ANION_WORKING, 0.15, f"1.1 eq/L anion, 80 % put to use: {NO_SOURCE}"
    ),
    density_kg_l=0.68,  # common practice, no published source
    validity="The second vessel of a pair, its inlet read between the two, its source analysed.",
)


@dataclass(frozen=True)
class TwoBed:
    """A resin model of a cation and an anion bed looked at as one."""

    grade: Grade = TWO_BED

    def load_eq_l(self, water: Water) -> Floats:
        """Return what a litre of each water spends of the anion bed, which limits [eq/L]."""
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
        """Return what the meter shows: caustic soda at first, acid at the end [mg/L].

        Acid reads up to threefold, but never as more than the inlet. In truth the two undo each
        other for a while and the reading dips; that is left out.
        """
        inlet = shown_tds_mg_l(water)
        units = units_at_flow(self.grade, flow_bv_h, transfer_units)
        acid = acid_reading(water) * film_breakthrough(used_fraction, units)
        caustic = SODIUM_LEAKAGE * CAUSTIC_CONDUCTANCE / TAP_WATER_CONDUCTANCE
        return inlet * np.clip(acid, caustic, 1.0)


@dataclass(frozen=True)
class CationBed:
    """A resin model of the first vessel of a pair, which makes acid of salt."""

    grade: Grade = TWO_BED_CATION

    def load_eq_l(self, water: Water) -> Floats:
        """Return the cations of a litre of each water, which are as many as the anions [eq/L]."""
        return load_eq_l(shown_conductivity_us_cm(water), alkalinity_mg_l=water.alkalinity_mg_l)

    def outlet_mg_l(
        self,
        used_fraction: Floats,
        water: Water,
        flow_bv_h: Floats,
        transfer_units: Floats | None = None,
    ) -> Floats:
        """Return the reading of the acid while the bed holds [mg/L].

        It would fall to that of the inlet as the bed is spent, which no limit could be laid on.
        """
        units = 1.0 if transfer_units is None else transfer_units
        shape = np.broadcast_shapes(np.shape(used_fraction), np.shape(flow_bv_h), np.shape(units))
        return shown_tds_mg_l(water) * acid_reading(water) + np.zeros(shape)


@dataclass(frozen=True)
class AnionBed:
    """A resin model of the second vessel of a pair, which takes up the acid of the first."""

    grade: Grade = TWO_BED_ANION

    def load_eq_l(self, water: Water) -> Floats:
        """Return the acids of a litre of each water, weak ones included [eq/L].

        The inlet's conductivity shows the strong acids only. The alkalinity of the source has
        become carbonic acid; where it is not known, as much of it is taken as of strong acid.
        """
        strong, weak = _acids_eq_l(water)
        co2 = np.nan_to_num(free_co2_mol_l(weak, water.ph))
        return anion_load_eq_l(strong, weak, co2, np.nan_to_num(water.silica_mg_l))

    def outlet_mg_l(
        self,
        used_fraction: Floats,
        water: Water,
        flow_bv_h: Floats,
        transfer_units: Floats | None = None,
    ) -> Floats:
        """Return what the meter shows: caustic soda at first, acid at the end [mg/L]."""
        inlet = shown_tds_mg_l(water)
        units = units_at_flow(self.grade, flow_bv_h, transfer_units)
        strong, weak = _acids_eq_l(water)
        caustic = SODIUM_LEAKAGE * (strong + weak) * CAUSTIC_CONDUCTANCE
        share = np.minimum(caustic / (strong * ACID_CONDUCTANCE), 1.0)
        return inlet * np.maximum(film_breakthrough(used_fraction, units), share)


def _acids_eq_l(water: Water) -> tuple[Floats, Floats]:
    """Return the strong acids that an acid water's conductivity shows, and the carbonic acid."""
    conductivity = np.maximum(shown_conductivity_us_cm(water), LEAST_FOR_TDS_US_CM)
    strong = conductivity / ACID_CONDUCTANCE / 1000.0
    stated = caco3_eq_l(water.alkalinity_mg_l)
    return strong, np.where(np.isnan(stated), strong, stated)


@hookimpl
def qa_resin_models() -> list[ResinModel]:
    """Offer the pair, and its two vessels by themselves."""
    return [TwoBed(), CationBed(), AnionBed()]
