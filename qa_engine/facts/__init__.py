"""Facts: the named, unit-bearing properties of subjects that rules speak about."""

from qa_engine.facts.fact import EVENT_SUBJECTS, STATE_SUBJECTS, SUBJECTS, Fact, FactGroup

__all__ = ["EVENT_SUBJECTS", "STATE_SUBJECTS", "SUBJECTS", "Fact", "FactGroup"]
