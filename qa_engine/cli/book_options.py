"""What the commands that write to a record book have in common."""

from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path

import click

from qa_engine.errors import IntakeError

FILE = click.Path(path_type=Path)
BOOK = click.argument("book", metavar="BOOK")
BY = click.option(
    "--by",
    required=True,
    envvar="QA_ENGINE_BY",
    metavar="PERSON",
    help="Id of the person who enters it, never a name; also from QA_ENGINE_BY.",
)
BY_UNLESS_TRIED = click.option(
    "--by",
    envvar="QA_ENGINE_BY",
    metavar="PERSON",
    help="Id of the person who enters it, never a name; also from QA_ENGINE_BY.",
)


def now() -> datetime:
    """Return the present instant."""
    return datetime.now(UTC)


def key_of(file: Path, *parts: str | None) -> str:
    """Return a key that stands for what a file holds and how it is read.

    Raises:
        IntakeError: the file cannot be read.
    """
    digest = sha256()
    try:
        with file.open("rb") as stream:
            while block := stream.read(1 << 20):
                digest.update(block)
    except OSError as error:
        raise IntakeError(f"{file}: cannot be read: {error.strerror}") from None
    return ":".join((digest.hexdigest(), *(part for part in parts if part)))
