"""The front end: pages over the record book and the engine; nothing here decides anything."""

from qa_engine.web.app import create_app
from qa_engine.web.office import Settings

__all__ = ["Settings", "create_app"]
