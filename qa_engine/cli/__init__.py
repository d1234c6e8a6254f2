"""The command line: reads files and the clock, asks the engine, shows the answer."""

from qa_engine.cli.program import main

__all__ = ["main"]
