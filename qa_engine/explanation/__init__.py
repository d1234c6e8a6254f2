"""Explanations: why a subject was given its outcome, and what would settle what is open.

An explanation is worked out anew, for one subject, by the plain functions of the conditions; it
is never kept, and it never differs from the verdict that was given in bulk.
"""

from qa_engine.explanation.by_name import explain_finding
from qa_engine.explanation.finding import Cited, Explained, ExplanationError
from qa_engine.explanation.of_all import Explanations, inspect_explained
from qa_engine.explanation.sought import Sought
from qa_engine.explanation.tree import Explanation, Part, explain

__all__ = [
    "Cited",
    "Explained",
    "Explanation",
    "ExplanationError",
    "Explanations",
    "Part",
    "Sought",
    "explain",
    "explain_finding",
    "inspect_explained",
]
