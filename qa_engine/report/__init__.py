"""Reports: what an inspection found, as text to act on, JSON to keep and CSV to work with."""

from qa_engine.report.outcome import Report, Tally

__all__ = ["Report", "Tally"]
