"""Secrets: from an environment variable, or a file that only its owner reads; not in the book."""

import os
import stat
from collections.abc import Mapping
from pathlib import Path

LONGEST_SECRET = 4_096
OTHERS = stat.S_IRWXG | stat.S_IRWXO


class SecretError(Exception):
    """A secret cannot be had; ``help`` says what would do."""

    def __init__(self, what: str, help: str) -> None:
        super().__init__(what)
        self.help = help


def secret_of(source: str, name: str, folder: Path, environment: Mapping[str, str]) -> str:
    """Return a secret.

    Args:
        source: ``variable`` or ``file``.
        name: of the variable, or the path of the file.
        folder: where relative paths begin.
        environment: the variables.

    Raises:
        SecretError: there is none, or others can read it.
    """
    if source == "variable":
        found = environment.get(name, "")
        if not found:
            raise SecretError(f"the environment has no '{name}'", "set it where this is started")
        return found
    return _in_file(folder / name)


def _in_file(path: Path) -> str:
    try:
        with path.open("rb") as stream:
            mode = os.fstat(stream.fileno()).st_mode
            written = stream.read(LONGEST_SECRET + 1)
    except OSError as error:
        raise SecretError(f"{path} cannot be read: {error.strerror}", "") from None
    if os.name == "posix" and mode & OTHERS:
        raise SecretError(f"others can read {path}", f"chmod 600 {path}")
    try:
        found = written.decode().strip()
    except UnicodeDecodeError:
        raise SecretError(f"{path} is no text", "write the secret on its first line") from None
    if not found or len(written) > LONGEST_SECRET or "\n" in found:
        raise SecretError(f"{path} does not hold one line", "write the secret on its first line")
    return found
