"""Proposals of column maps: what a file's own data decide is guessed, the rest is asked."""

from qa_engine.intake.proposal.proposing import propose_map

__all__ = ["propose_map"]
