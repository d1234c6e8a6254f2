"""Belief: where what is believed of a tank's charge comes from, told to the person who asks."""

from qa_engine.belief.whole import Told, told_of

__all__ = ["Told", "told_of"]
