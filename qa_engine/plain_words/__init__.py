"""Conditions in plain words: what a rule asks for, as a person would say it.

The words are made from the condition as written, so that they cannot say anything else; they judge
nothing, and whoever doubts them finds the condition beside them.
"""

from qa_engine.plain_words.quantities import quantity, term, with_symbols
from qa_engine.plain_words.requirement import in_words
from qa_engine.plain_words.subjects import example_in_words, subject_in_words
from qa_engine.plain_words.things import named, noun

__all__ = [
    "example_in_words",
    "in_words",
    "named",
    "noun",
    "quantity",
    "subject_in_words",
    "term",
    "with_symbols",
]
