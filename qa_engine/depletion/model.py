"""The contract of a resin model: what a plugin supplies for one grade of resin.

A model is pure and works on arrays: same input, same output, no files, no clock, no memory of
earlier calls. Everything that models have in common (summing up, learning, planning) is done by
the engine.
"""

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


@dataclass(frozen=True)
class Water:
    """Inlet water, one entry per litre asked about; all arrays have one shape, NaN is unknown.

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

        NaN only where neither TDS nor conductivity is known.
        """

    def outlet_mg_l(self, used_fraction: Floats, water: Water, flow_bv_h: Floats) -> Floats:
        """Return what the meter shows at the outlet [mg/L], above what pure water shows.

        Args:
            used_fraction: equivalents fed over equivalents of capacity [1], >= 0.
            water: the inlet water, of the same shape.
            flow_bv_h: flow in bed volumes per hour, of the same shape; NaN is unknown [1/h].
        """
