"""Depletion: what a resin model is, and how the engine uses one for every charge of its grade."""

from qa_engine.depletion.flow import units_at_flow
from qa_engine.depletion.model import (
    ASSUMED_SHARPNESS,
    Capacity,
    Floats,
    Grade,
    ResinModel,
    Sharpness,
    Water,
)
from qa_engine.depletion.shown import (
    ASSUMED_FACTOR,
    acid_reading,
    factor_of,
    shown_conductivity_us_cm,
    shown_tds_mg_l,
)

__all__ = [
    "ASSUMED_FACTOR",
    "ASSUMED_SHARPNESS",
    "Capacity",
    "Floats",
    "Grade",
    "ResinModel",
    "Sharpness",
    "Water",
    "acid_reading",
    "factor_of",
    "shown_conductivity_us_cm",
    "shown_tds_mg_l",
    "units_at_flow",
]
