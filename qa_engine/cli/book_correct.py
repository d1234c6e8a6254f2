"""``qa-engine book correct``: put right what a record book has."""

from pathlib import Path

import click

from qa_engine.cli.book_options import BOOK, BY, FILE, key_of, now
from qa_engine.cli.inspect import tell_refused


@click.command("correct")
@BOOK
@click.argument("files", nargs=-1, required=True, type=FILE)
@BY
@click.option("--reason", required=True, metavar="TEXT", help="Why the book was wrong.")
@click.option("--time-zone", metavar="ZONE", help="Zone of times that state no offset.")
def correct(
    book: str, files: tuple[Path, ...], by: str, reason: str, time_zone: str | None
) -> None:
    """Correct records of a record BOOK by FILES that hold them as they should be, whole.

    Each takes the place of the record with its id. What the book had stays in it, with who
    corrected it, when and why. If one of them is not in the book, nothing is corrected.

    Exit status: 0, 2 nothing was corrected, 3 some rows were refused and the others are kept.
    """
    from qa_engine.book import open_book
    from qa_engine.intake import read_records

    intake = read_records(files, time_zone=time_zone)
    tell_refused(intake, None)
    keys = "+".join(key_of(file, time_zone) for file in files)
    with open_book(book) as opened:
        receipt = opened.correct(
            intake.frames,
            key=f"{keys}:correct:{opened.size()}",
            entered_at=now(),
            entered_by=by,
            reason=reason,
            source=", ".join(file.name for file in files),
        )
    says = [f"{receipt.entries:,} corrected"]
    if receipt.repeated:
        says.append(f"{receipt.repeated:,} the book has word for word")
    if intake.refused_rows:
        says.append(f"{intake.refused_rows:,} refused")
    click.echo(f"{', '.join(says)}.")
    raise SystemExit(3 if intake.refused_rows else 0)
