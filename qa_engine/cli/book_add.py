"""``qa-engine book add``: take files of records into a record book."""

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from qa_engine.cli.book_options import BY_UNLESS_TRIED, FILE, key_of, now
from qa_engine.cli.column_maps import MAP, map_from, write_proposal
from qa_engine.cli.inspect import tell_refused
from qa_engine.cli.output import writable

if TYPE_CHECKING:
    from qa_engine.book import Book
    from qa_engine.book.importing import Import
    from qa_engine.cli.book_import import Manner
    from qa_engine.intake import Intake

INCOMPLETE = 3
"""Exit status when some rows were refused; the others are kept."""

SHOWN_CONFLICTS = 20


@click.command("add")
@click.argument("book", metavar="BOOK", required=False)
@click.argument("files", nargs=-1, type=FILE)
@BY_UNLESS_TRIED
@click.option("--register", type=FILE, help="Take in this register; it holds from now on.")
@click.option("--time-zone", metavar="ZONE", help="Zone of times that state no offset.")
@MAP
@click.option("--dry-run", is_flag=True, help="Say what would be taken and refused; add nothing.")
@click.option(
    "--propose-map", type=FILE, metavar="FILE", help="Write a column map for FILE; add nothing."
)
@click.option("--out", type=FILE, help="Where to write the proposed column map.")
@click.option("--follow", type=FILE, metavar="FOLDER", help="Take files as they are dropped here.")
@click.option(
    "--settled",
    type=click.FloatRange(0),
    default=2.0,
    show_default=True,
    metavar="SECONDS",
    help="For how long a dropped file must not change before it is read.",
)
@click.option("--correct", is_flag=True, help="Take records that differ as corrections.")
@click.option("--reason", metavar="TEXT", help="Why; needed with --correct.")
@click.option(
    "--refused", type=FILE, callback=writable, help="Write every refused record to this CSV file."
)
@click.option(
    "--to-mend", type=FILE, callback=writable, help="Write refused rows whole, to mend and add."
)
def add(
    book: str | None,
    files: tuple[Path, ...],
    by: str | None,
    register: Path | None,
    time_zone: str | None,
    column_map: Path | None,
    dry_run: bool,
    propose_map: Path | None,
    out: Path | None,
    follow: Path | None,
    settled: float,
    correct: bool,
    reason: str | None,
    refused: Path | None,
    to_mend: Path | None,
) -> None:
    """Take FILES of records into a record BOOK, each part by part.

    A file that was taken in before adds nothing; one whose import was broken off goes on where it
    was. A record that the book has otherwise is refused, unless --correct says that the file is
    right: then it takes the place of what the book had, and both stay.

    Files whose columns bear other names than ours are read with a column map (--map), which
    --propose-map writes a first time.

    Exit status: 0, 2 nothing was judged, 3 some rows were refused and the others are kept.
    """
    if propose_map is not None:
        _propose(book, propose_map, register, out)
        return
    _check_call(book, files, by, register, follow, dry_run, correct, reason)
    from qa_engine.book import open_book
    from qa_engine.cli.book_import import Manner

    manner = Manner(by or "", now, time_zone, map_from(column_map), correct, reason)
    with open_book(str(book)) as opened:
        if register is not None and not dry_run:
            _take_register(opened, register, manner.by, reason)
        if follow is not None:
            _follow(opened, follow, manner, settled)
            return
        wanted = Wanted(refused, to_mend, dry_run)
        whole = [take(opened, file, manner, wanted) for file in files]
    raise SystemExit(0 if all(whole) else INCOMPLETE)


@dataclass(frozen=True)
class Wanted:
    """What else a person wants of an import: files of what was refused, or only a trial."""

    refused: Path | None = None
    to_mend: Path | None = None
    dry_run: bool = False


def _check_call(
    book: str | None,
    files: tuple[Path, ...],
    by: str | None,
    register: Path | None,
    follow: Path | None,
    dry_run: bool,
    correct: bool,
    reason: str | None,
) -> None:
    if book is None:
        raise click.UsageError("name the record BOOK")
    if not by and not dry_run:
        raise click.UsageError("say who enters it with --by PERSON (an id, never a name)")
    if correct and not reason:
        raise click.UsageError("--correct needs --reason TEXT: say why the book was wrong")
    if follow is not None and (files or dry_run):
        raise click.UsageError("--follow stands alone: drop the files into its folder")
    if not files and register is None and follow is None:
        raise click.UsageError("name files of records, or --register FILE, or --follow FOLDER")


def _propose(book: str | None, file: Path, register: Path | None, out: Path | None) -> None:
    from qa_engine.cli.given import register_from

    known = None if register is None and book is None else register_from(register, [book or ""])
    write_proposal(file, known, out)


def _follow(book: "Book", folder: Path, manner: "Manner", settled_s: float) -> None:
    from qa_engine.cli.book_follow import follow

    follow(book, folder, manner, settled_s=settled_s)


def _take_register(book: "Book", register: Path, by: str, reason: str | None) -> None:
    from qa_engine.intake import read_register

    receipt = book.put_register(
        read_register(register),
        key=f"{key_of(register, 'register')}:{book.size()}",
        entered_at=now(),
        entered_by=by,
        source=register.name,
        reason=reason,
    )
    says = "taken in" if receipt.entries else "the book has it already"
    click.echo(f"{register}: {says}.")


def take(book: "Book", file: Path, manner: "Manner", wanted: Wanted = Wanted()) -> bool:
    """Take a file in and say what became of it; return whether all of it was taken."""
    from qa_engine.cli.book_import import import_file, tell_tried

    gathered = import_file(None if wanted.dry_run else book, file, manner)
    intake = gathered.intake()
    tell_refused(intake, wanted.refused)
    for note in intake.notes:
        click.echo(note, err=True)
    if wanted.to_mend is not None:
        _write_to_mend(intake, wanted.to_mend)
    if wanted.dry_run:
        tell_tried(file, gathered)
        return not gathered.refused_rows
    done = gathered.imported
    click.echo(_told(file, done, gathered.refused_rows))
    tell_conflicts(done)
    return not gathered.refused_rows and not done.conflicts


def _write_to_mend(intake: "Intake", path: Path) -> None:
    from qa_engine.intake.mending import write_to_mend

    rows = write_to_mend(intake, path)
    click.echo(f"{rows:,} rows to mend written to {path}; add that file when they are.", err=True)


def _told(file: Path, done: "Import", refused: int) -> str:
    if done.known and not refused:
        return f"{file}: the book has it already; nothing was added."
    parts = ["1 entry added" if done.added == 1 else f"{done.added:,} entries added"]
    kept = sum(receipt.entries for receipt in done.receipts if receipt.known)
    if kept:
        parts.append(f"{kept:,} kept before")
    if done.repeated:
        parts.append(f"{done.repeated:,} the book has word for word")
    if refused or done.conflicts:
        parts.append(f"{refused + len(done.conflicts):,} refused")
    return f"{file}: {', '.join(parts)}."


def tell_conflicts(done: "Import") -> None:
    """Say on standard error which records the book has otherwise."""
    for one in done.conflicts[:SHOWN_CONFLICTS]:
        click.echo(
            f"record {one.record}: the book has it otherwise (entry {one.entry}: "
            f"{', '.join(one.fields)}); if the file is right, add it with --correct",
            err=True,
        )
    if (more := len(done.conflicts) - SHOWN_CONFLICTS) > 0:
        click.echo(f"... and {more:,} more that the book has otherwise.", err=True)
