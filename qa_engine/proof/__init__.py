"""Proof of rules: that the examples pin down what a rule does, and that rules make sense together.

Each rule is scored by its examples: they must notice every slip of the pen that would make another
rule of it, and show each limit met exactly and missed by a step, each clause deciding by itself and
each fact missing. By reasoning over the ranges of facts, rules that can never fail, never conform,
repeat or contradict another are found, each with a subject that shows it.
"""

from qa_engine.proof.resolution import too_fine
from qa_engine.proof.scoring import Score, Unmet, share
from qa_engine.proof.suggestions import suggestion
from qa_engine.proof.verification import Verification, verify

__all__ = ["Score", "Unmet", "Verification", "share", "suggestion", "too_fine", "verify"]
