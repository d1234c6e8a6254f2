"""Depletion: what a resin model is, and how the engine uses one for every charge of its grade."""

from qa_engine.depletion.model import Capacity, Floats, Grade, ResinModel, Water

__all__ = ["Capacity", "Floats", "Grade", "ResinModel", "Water"]
