"""The contract of a resin model: what a plugin supplies for one grade of resin.

A model is pure and works on arrays: same input, same output, no files, no clock, no memory of
earlier calls. Everything that models have in common (summing up, learning, planning) is done by
the engine.
"""

import math
from dataclasses import dataclass
from typing import Literal, Protocol, runtime_checkable

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Capacity:
    """What a litre of fresh resin can take up, before anything is learnt from readings.

    Attributes:
        mean_eq_l, sd_eq_l: mean and standard deviation over lots [eq per litre of resin].
        source: where the figures come from, for the person who must believe them.
    """

    mean_eq_l: float
    sd_eq_l: float
    source: str


@dataclass(frozen=True)
class Sharpness:
    """How sharply the outlet breaks through, before anything is learnt from readings.

    Attributes:
        transfer_units: N at the grade's usual flow, its median over beds [1].
        sd_log: standard deviation of its natural logarithm; the spread is taken as lognormal [1].
        source: where the figures come from, for the person who must believe them.
    """

    transfer_units: float
    sd_log: float
    source: str


ASSUMED_SHARPNESS = Sharpness(20.0, 0.3, "an assumption, no published source")
"""For grades that do not state theirs: data sheets of resins hardly ever do."""


@dataclass(frozen=True)
class Grade:
    """A grade of resin, as data.

    Attributes:
        name: how crews write it in records, such as ``standard mixed bed``.
        bed: what kind of bed it is.
        capacity: usable capacity of the bed.
        lowers_tds: whether the bed takes salts out; rules about outlet TDS apply only then.
        outlet_after_change_mg_l: the most the outlet may read when fresh and flushed [mg/L].
        least_flow_bv_h, greatest_flow_bv_h: service flow in bed volumes per hour [1/h].
        flow_source: where the flow limits come from.
        colour_indicating: whether spent resin changes colour.
        sharpness: how sharply the bed breaks through.
        density_kg_l: mass of a litre of moist resin as it is shipped [kg/L]; None if not stated.
        ph_low, ph_high: useful pH of the inlet water [1]; None if not stated.
        greatest_temperature_deg_c: of the water [degC]; None if not stated. The data plate of the
            tank may ask for less, and comes first.
        validity: for what the model holds, in one sentence.
    """

    name: str
    bed: Literal["mixed bed", "two-bed", "softening"]
    capacity: Capacity
    lowers_tds: bool
    outlet_after_change_mg_l: float
    least_flow_bv_h: float
    greatest_flow_bv_h: float
    flow_source: str
    colour_indicating: bool = False
    sharpness: Sharpness = ASSUMED_SHARPNESS
    density_kg_l: float | None = None
    ph_low: float | None = None
    ph_high: float | None = None
    greatest_temperature_deg_c: float | None = None
    validity: str = "not stated"

    @property
    def usual_flow_bv_h(self) -> float:
        """Return the flow to which the sharpness belongs: midway between the limits, as ratios."""
        return math.sqrt(self.least_flow_bv_h * self.greatest_flow_bv_h)


@dataclass(frozen=True)
class Water:
    """Inlet water, one entry per water asked about; all arrays have one shape, NaN is unknown.

    Attributes:
        tds_mg_l: as the meter shows it [mg/L].
        conductivity_us_cm: at 25 degC [uS/cm].
        factor: how the meter makes TDS of conductivity [mg/L per uS/cm].
        hardness_mg_l, alkalinity_mg_l: from an analysis [mg/L as CaCO3].
        ph: from an analysis [1].
        silica_mg_l: from an analysis [mg/L as SiO2].
    """

    tds_mg_l: Floats
    conductivity_us_cm: Floats
    factor: Floats
    hardness_mg_l: Floats
    alkalinity_mg_l: Floats
    ph: Floats
    silica_mg_l: Floats


@runtime_checkable
class ResinModel(Protocol):
    """Predicts how one grade of resin is used up."""

    @property
    def grade(self) -> Grade:
        """Return the grade that the model speaks for."""

    def load_eq_l(self, water: Water) -> Floats:
        """Return the equivalents that a litre of each water spends [eq/L], > 0, shape of the water.

        NaN only where neither TDS nor conductivity is known. Dissolved salts count by their
        charge; carbon dioxide and silica, where the resin takes them, one equivalent per mole.
        """

    def outlet_mg_l(
        self,
        used_fraction: Floats,
        water: Water,
        flow_bv_h: Floats,
        transfer_units: Floats | None = None,
    ) -> Floats:
        """Return what the meter shows at the outlet [mg/L], above what pure water shows.

        Never falls as the used fraction grows. The arguments broadcast against each other, so that
        many charges, readings and assumed capacities are one call: shapes such as (charges,
        readings, 1) and (1, 1, grid) give (charges, readings, grid).

        Args:
            used_fraction: equivalents fed over equivalents of capacity [1], >= 0; NaN is unknown.
            water: the inlet water.
            flow_bv_h: flow in bed volumes per hour [1/h]; NaN is unknown, which means the usual
                flow of the grade.
            transfer_units: N at the grade's usual flow [1], > 0; None means that of the grade.
                What another flow makes of it is the model's affair.
        """
