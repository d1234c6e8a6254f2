"""The rule sets that ship with the engine."""

from importlib.resources import files
from importlib.resources.abc import Traversable

from qa_engine.hookspecs import hookimpl


@hookimpl
def qa_rule_folders() -> list[Traversable]:
    """Offer the folder of the starter rules."""
    return [files("qa_engine.rules")]
