"""The calls that programs make: records in, findings, tanks, facts and reports out, as JSON."""

from qa_engine.web.api import adding, described, due, facts, findings, receipts, report, tanks
from qa_engine.web.api.calls import pages

PARTS = (adding, described, due, facts, findings, receipts, report, tanks)
"""The modules whose calls ``pages`` offers."""

__all__ = ["PARTS", "pages"]
