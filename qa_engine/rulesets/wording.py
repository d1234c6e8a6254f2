"""Messages of rules: texts with placeholders in braces, filled in with texts and nothing else."""

import re
from collections.abc import Iterator
from dataclasses import dataclass

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


def cut(says: str) -> Iterator[tuple[str, str | None]]:
    """Yield a message in parts: each literal text, with the placeholder that follows it if any.

    Doubled braces stand for themselves. Nothing in a message is evaluated: a placeholder is a name
    to look up among texts that are ready.
    """
    start, literal = 0, ""
    for found in _BRACES.finditer(says):
        literal += says[start : found.start()]
        start = found.end()
        if found[0] in ("{{", "}}"):
            literal += found[0][0]
        else:
            yield literal, found[1]
            literal = ""
    yield literal + says[start:], None
