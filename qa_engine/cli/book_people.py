"""``qa-engine book name``, ``erase`` and ``attach``: names of people, and files of records."""

from mimetypes import guess_type
from pathlib import Path

import click

from qa_engine.cli.book_options import BOOK, BY, FILE, key_of, now


@click.command("name")
@BOOK
@click.argument("person")
@click.argument("name")
@BY
def name_(book: str, person: str, name: str, by: str) -> None:
    """Say in a record BOOK what a PERSON's NAME is; records have only the person's id.

    The log of the book gets no name, only a commitment to it, so that the name can be erased.
    """
    from uuid import uuid4

    from qa_engine.book import open_book
    from qa_engine.book.people import name_person

    with open_book(book) as opened:
        moment = now()
        receipt = name_person(
            opened, person, name, key=uuid4().hex, entered_at=moment, entered_by=by
        )
    click.echo(f"{person} is named." if receipt.entries else f"{person} had that name already.")


@click.command("erase")
@BOOK
@click.argument("person")
def erase(book: str, person: str) -> None:
    """Erase every name of a PERSON from a record BOOK; it still verifies.

    Backups, copies and exports made before still have the name; so may notes and attachments,
    which cannot be erased.
    """
    from qa_engine.book import open_book
    from qa_engine.book.people import erase_person, names

    with open_book(book) as opened:
        with opened.reading() as held:
            known = person in names(held)
        if known:
            erase_person(opened, person)
    click.echo(f"The name of {person} is erased." if known else f"{person} has no name here.")


@click.command("attach")
@BOOK
@click.argument("record")
@click.argument("file", type=FILE)
@click.option("--type", "media", metavar="TYPE", help="Media type; by default, by the file's name.")
@BY
def attach_(book: str, record: str, file: Path, media: str | None, by: str) -> None:
    """Attach a FILE, such as a photo, a certificate or a waste note, to a RECORD of a BOOK."""
    from qa_engine.book import open_book
    from qa_engine.book.attachments import attach
    from qa_engine.errors import BookError

    media = media or guess_type(file.name)[0] or "application/octet-stream"
    key = key_of(file, "attached to", record)
    try:
        data = file.read_bytes()
    except OSError as error:
        raise BookError(f"{file}: cannot be read: {error.strerror}") from None
    with open_book(book) as opened:
        receipt = attach(
            opened, data, type=media, record=record, key=key, entered_at=now(), entered_by=by
        )
    told = "is attached to" if receipt.entries and not receipt.known else "was attached before to"
    click.echo(f"{file.name} ({media}, {len(data)} bytes) {told} {record}.")
