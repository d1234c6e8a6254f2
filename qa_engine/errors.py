"""Errors that the engine raises, and the hint that goes with an unknown name."""

from collections.abc import Iterable
from difflib import get_close_matches

LONGEST_NAME = 64
"""Longer ones are no names, and comparing them with others takes long [characters]."""


class QAEngineError(Exception):
    """Any error of the engine; its text is written for the person at the keyboard."""


class UnitError(QAEngineError):
    """A unit is unknown, or two units do not measure the same thing."""


class IntakeError(QAEngineError):
    """A file of records or a register cannot be read at all; nothing was judged."""


class RuleSetError(QAEngineError):
    """Rule sets cannot be used as written; ``problems`` holds every diagnostic."""

    def __init__(self, problems: Iterable[object]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n\n".join(str(problem) for problem in self.problems))


class ColumnMapError(QAEngineError):
    """A column map cannot be used as written; ``problems`` holds every diagnostic."""

    def __init__(self, problems: Iterable[object]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n\n".join(str(problem) for problem in self.problems))


class PermissionsError(QAEngineError):
    """A permissions file cannot be used as written; ``problems`` holds every diagnostic."""

    def __init__(self, problems: Iterable[object]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n\n".join(str(problem) for problem in self.problems))


class MessagesError(QAEngineError):
    """Messages cannot be made or sent as asked; the text says what would do."""


class AuditError(QAEngineError):
    """An audit report cannot be made as asked; the text says what would do."""


class ReportError(QAEngineError):
    """An earlier report cannot be read back; the text names the file and what is wrong."""


class BookError(QAEngineError):
    """A record book cannot be opened or used; the text says what would do."""


class ModelInputError(QAEngineError, ValueError):
    """A resin model was given a number that no water, bed or flow can have."""


class PluginError(QAEngineError):
    """A plugin cannot be used; the text names it and says what it did."""


def nearest(name: str, known: Iterable[str]) -> str:
    """Return a hint that names the known name nearest to ``name``, or an empty text."""
    if len(name) > LONGEST_NAME:
        return ""
    folded = {one.casefold(): one for one in known}
    close = get_close_matches(name.casefold(), folded, n=1, cutoff=0.6)
    return f"did you mean '{folded[close[0]]}'?" if close else ""
