"""A file kept in a record book, or only tried, with its progress and what came of it shown."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from qa_engine.book.file_import import Gathered, Manner, take_file
from qa_engine.cli.import_progress import import_progress

if TYPE_CHECKING:
    from qa_engine.book import Book

__all__ = ["Gathered", "Manner", "import_file", "tell_tried"]


def import_file(book: "Book | None", file: Path, manner: Manner) -> Gathered:
    """Read a file and keep what is accepted, and show how far it has come.

    Args:
        book: the record book; none: the file is only tried.
        file: the file.
        manner: how it is read.
    """
    with import_progress(file) as told:
        return take_file(book, file, manner, told=told)


def tell_tried(file: Path, gathered: Gathered) -> None:
    """Say what a file would bring, on standard output."""
    found = [f"{count:,} {kind}" for kind, count in gathered.kinds.items()]
    taken = ", ".join(found) or "nothing"
    click.echo(f"{file}: {gathered.read:,} rows read; would be taken: {taken}.")
    if gathered.refused_rows:
        rows = "1 row" if gathered.refused_rows == 1 else f"{gathered.refused_rows:,} rows"
        click.echo(f"{file}: {rows} would be refused, for the reasons on standard error.")
    click.echo("Nothing was added: this was a dry run.")
