"""The chemistry of rinse water: pure functions over arrays, NaN for unknown, units in the names."""

from qa_engine.water.bed import (
    flow_bv_h,
    mixed_bed_capacity_eq_l,
    shared_capacity_eq_l,
    throughput_l,
    velocity_m_h,
)
from qa_engine.water.conductivity import (
    LEAST_FOR_TDS_US_CM,
    PURE_WATER_US_CM,
    USUAL_COEFFICIENT_PER_K,
    conductivity_at_25,
    conductivity_of_tds,
    resistivity_mohm_cm,
    tds_of_conductivity,
)
from qa_engine.water.equivalents import (
    anion_load_eq_l,
    as_caco3_mg_l,
    caco3_eq_l,
    free_co2_mol_l,
    ion_eq_l,
)
from qa_engine.water.inputs import not_negative, positive, within
from qa_engine.water.leakage import (
    ACID_CONDUCTANCE,
    CAUSTIC_CONDUCTANCE,
    acid_over_salt,
    bicarbonate_share,
)
from qa_engine.water.load import TAP_WATER_CONDUCTANCE, load_eq_l
from qa_engine.water.salts import (
    CALCIUM_BICARBONATE,
    HYDROCHLORIC_ACID,
    SODIUM_CHLORIDE,
    SODIUM_HYDROXIDE,
    Salt,
    equivalent_conductance,
    salt_conductivity,
    sodium_chloride_conductivity,
)

__all__ = [
    "ACID_CONDUCTANCE",
    "CALCIUM_BICARBONATE",
    "CAUSTIC_CONDUCTANCE",
    "HYDROCHLORIC_ACID",
    "LEAST_FOR_TDS_US_CM",
    "PURE_WATER_US_CM",
    "SODIUM_CHLORIDE",
    "SODIUM_HYDROXIDE",
    "TAP_WATER_CONDUCTANCE",
    "USUAL_COEFFICIENT_PER_K",
    "Salt",
    "acid_over_salt",
    "anion_load_eq_l",
    "as_caco3_mg_l",
    "bicarbonate_share",
    "caco3_eq_l",
    "conductivity_at_25",
    "conductivity_of_tds",
    "equivalent_conductance",
    "flow_bv_h",
    "free_co2_mol_l",
    "ion_eq_l",
    "load_eq_l",
    "mixed_bed_capacity_eq_l",
    "not_negative",
    "positive",
    "resistivity_mohm_cm",
    "salt_conductivity",
    "shared_capacity_eq_l",
    "sodium_chloride_conductivity",
    "tds_of_conductivity",
    "throughput_l",
    "velocity_m_h",
    "within",
]
