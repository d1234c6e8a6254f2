"""The lookout: keeps up to date what the rules say of a record book."""

from qa_engine.book.lookout.remembering import Stood, history_of
from qa_engine.book.lookout.state import FleetState
from qa_engine.book.lookout.watching import Lookout

__all__ = ["FleetState", "Lookout", "Stood", "history_of"]
