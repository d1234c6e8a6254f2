"""Column maps on the command line: read with --map, written by --propose-map."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from qa_engine.errors import IntakeError

if TYPE_CHECKING:
    from qa_engine.intake import ColumnMap
    from qa_engine.register import Register

FILE = click.Path(path_type=Path)
MAP = click.option(
    "--map", "column_map", type=FILE, help="What the columns of these files mean, in YAML."
)


def map_from(path: Path | None) -> "ColumnMap | None":
    """Return the map of a file, if one is named.

    Raises:
        ColumnMapError: it cannot be used, or has questions left.
    """
    if path is None:
        return None
    from qa_engine.intake import read_map

    return read_map(path)


def write_proposal(file: Path, register: "Register | None", out: Path | None) -> None:
    """Write the column map proposed for a file, and say what must be answered first.

    Args:
        file: the file.
        register: ids and time zone of the operator.
        out: where to; none: standard output.

    Raises:
        IntakeError: the file cannot be read, or the map not be written.
    """
    from qa_engine.intake import propose_map

    proposed = propose_map(file, register)
    if out is None:
        click.echo(proposed.text, nl=False)
    else:
        _write(out, proposed.text)
        click.echo(f"Column map written to {out}.", err=True)
    for question in proposed.questions:
        click.echo(f"To be answered, line {question.line}: {question.text}", err=True)
    if not proposed.questions:
        click.echo("Nothing is to be answered; read it before you use it.", err=True)


def _write(out: Path, text: str) -> None:
    try:
        with out.open("x", encoding="utf-8", newline="\n") as stream:
            stream.write(text)
    except FileExistsError:
        raise IntakeError(f"{out}: there is such a file; name another for the map") from None
    except OSError as error:
        raise IntakeError(f"{out}: cannot be written: {error.strerror}") from None
