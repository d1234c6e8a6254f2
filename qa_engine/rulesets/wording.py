"""Messages of rules: texts with placeholders in braces, filled in with texts and nothing else."""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

NOT_RECORDED = "not recorded"
"""What a message says in place of a value that is missing."""

ALWAYS_TOLD = ("van", "tank", "subject")
"""Placeholders of every message: where it happened, and to what."""

AFFECTED = "affected"
"""Placeholder for the records that a failure puts in doubt; for rules with ``affects``."""

_BRACES = re.compile(r"\{\{|\}\}|\{([^{}]*)\}|[{}]")
_NAME = re.compile(r"[A-Za-z_][A-Za-z0-9_]*", re.ASCII)


@dataclass(frozen=True)
class Piece:
    """Something in braces: where it starts, how it is written, the name if it is a plain one."""

    offset: int
    written: str
    name: str | None


def pieces(says: str) -> Iterator[Piece]:
    """Yield what stands in braces in a message; doubled braces stand for themselves."""
    for found in _BRACES.finditer(says):
        if found[0] not in ("{{", "}}"):
            name = found[1] if found[1] and _NAME.fullmatch(found[1]) else None
            yield Piece(found.start(), found[0], name)


def placeholders(says: str) -> tuple[str, ...]:
    """Return the names that a message has placeholders for, each once."""
    return tuple(dict.fromkeys(piece.name for piece in pieces(says) if piece.name))


def render(says: str, values: Mapping[str, str | None]) -> str:
    """Return a message with its placeholders filled in; what has no value is not recorded.

    Nothing in a message or in a value is evaluated, and values are not looked into for braces.
    """

    def filled(found: re.Match[str]) -> str:
        if found[0] in ("{{", "}}"):
            return found[0][0]
        return values.get(found[1] or "") or NOT_RECORDED

    return _BRACES.sub(filled, says)
