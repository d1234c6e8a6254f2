"""``qa-engine book export``, ``import`` and ``copy``: a record book taken elsewhere."""

from pathlib import Path

import click

from qa_engine.cli.book_options import BOOK, FILE


@click.command("export")
@BOOK
@click.argument("folder", type=FILE)
@click.option("--without-names", is_flag=True, help="Leave out the names of people.")
def export(book: str, folder: Path, without_names: bool) -> None:
    """Write everything in a record BOOK to a new FOLDER, as Parquet and JSON.

    `book import` makes the same book of it again, with the same digests and root.
    """
    from qa_engine.book import open_book
    from qa_engine.book.export import export_book

    with open_book(book) as opened:
        count = export_book(opened, folder, with_names=not without_names)
    click.echo(f"{count} entries exported to {folder}.")


@click.command("import")
@click.argument("folder", type=FILE)
@BOOK
def import_(folder: Path, book: str) -> None:
    """Make a new record BOOK of an export in FOLDER; it is verified before it counts."""
    from qa_engine.book.export_reading import import_book

    with import_book(folder, book) as made:
        click.echo(f"Record book {made.url} made of {made.size()} entries.")
        click.echo(f"root {made.root().hex()}")


@click.command("copy")
@BOOK
@click.argument("file", type=FILE)
def copy(book: str, file: Path) -> None:
    """Copy a record BOOK to a new FILE while others write to it, for a backup.

    The private key is not copied. A database on a server is backed up with the server's tools.
    """
    from qa_engine.book import open_book
    from qa_engine.book.copying import copy_book

    with open_book(book) as opened:
        copied = copy_book(opened, file)
    with open_book(copied) as made:
        click.echo(f"{made.size()} entries copied to {copied}.")
