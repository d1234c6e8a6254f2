"""Depletion: what a resin model is, and how the engine uses one for every charge of its grade."""

from qa_engine.depletion.model import Capacity, Grade, ResinModel, Water

__all__ = ["Capacity", "Grade", "ResinModel", "Water"]
