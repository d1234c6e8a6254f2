"""Preview: what the dated history would come to under new editions, before they are adopted."""

from qa_engine.preview.adoption import Adoption, Difference, Pair
from qa_engine.preview.comparison import Preview, compare
from qa_engine.preview.figures import WINDOWS, changes_by_place, work_by_place

__all__ = [
    "WINDOWS",
    "Adoption",
    "Difference",
    "Pair",
    "Preview",
    "changes_by_place",
    "compare",
    "work_by_place",
]
