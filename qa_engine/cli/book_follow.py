"""``qa-engine book add --follow``: takes the files that are dropped into a folder, for good."""

import signal
import time
from collections.abc import Callable
from pathlib import Path
from threading import Event
from types import FrameType
from typing import TYPE_CHECKING

import click

from qa_engine.cli.book_import import Gathered, Manner, import_file
from qa_engine.cli.dropped_files import REFUSED, TAKEN, DropFolder
from qa_engine.errors import BookError, ColumnMapError, IntakeError
from qa_engine.intake import write_refused
from qa_engine.intake.mending import write_to_mend

if TYPE_CHECKING:
    from qa_engine.book import Book

LOOK_EVERY_S = 0.5
RETRY_S = 5.0


def follow(
    book: "Book",
    folder: Path,
    manner: Manner,
    *,
    settled_s: float,
    stop: Event | None = None,
) -> None:
    """Take files dropped into a folder until a signal says stop; the one being read is finished.

    A file that was taken goes to ``taken``; one that cannot be read at all goes to ``refused``,
    with its reason beside it in a text file. Of a file of which some rows were refused, the others
    are kept; the rows go to ``refused`` as a file that can be mended and dropped again. A file
    whose taking was broken off lies where it was and is taken again: what is kept stays kept.

    Args:
        book: the record book.
        folder: the folder.
        manner: how files are read.
        settled_s: for how long a file must not change before it is read [s].
        stop: is set to stop; signals set it too.

    Raises:
        IntakeError: there is no such folder.
    """
    stop = stop or Event()
    dropped = DropFolder(folder, settled_s)
    dropped.prepare()
    restore = _on_signals(stop)
    click.echo(f"Following {folder}; files dropped there are taken in.", err=True)
    try:
        while not stop.is_set():
            for file in dropped.whole(time.monotonic()):
                if stop.is_set():
                    break
                if not _taken(book, dropped, file, manner):
                    stop.wait(RETRY_S)
                    break
            stop.wait(min(LOOK_EVERY_S, settled_s or LOOK_EVERY_S))
    finally:
        restore()
    click.echo(f"Stopped following {folder}.", err=True)


def _on_signals(stop: Event) -> Callable[[], None]:
    """Let the signals that end a service set an event, and return what undoes it."""

    def asked(number: int, frame: FrameType | None) -> None:
        stop.set()

    before = {one: signal.signal(one, asked) for one in (signal.SIGTERM, signal.SIGINT)}

    def restore() -> None:
        for one, handler in before.items():
            signal.signal(one, handler)

    return restore


def _taken(book: "Book", dropped: DropFolder, file: Path, manner: Manner) -> bool:
    """Take a file and put it away; say no if the book could not be written and it must wait."""
    try:
        gathered = import_file(book, file, manner)
    except BookError as error:
        click.echo(f"{file.name} waits: {error}", err=True)
        return False
    except (IntakeError, ColumnMapError) as error:
        if not file.exists():
            return True  # somebody took it away again
        put = dropped.put_away(file, REFUSED)
        put.with_name(f"{put.name}.reason.txt").write_text(f"{error}\n", encoding="utf-8")
        click.echo(f"{file.name}: refused: {str(error).splitlines()[0]}", err=True)
        return True
    _write_reasons(dropped, file, gathered)
    dropped.put_away(file, TAKEN)
    imported = gathered.imported
    refused = gathered.refused_rows + len(imported.conflicts)
    click.echo(f"{file.name}: {imported.added:,} added, {refused:,} refused.")
    return True


def _write_reasons(dropped: DropFolder, file: Path, gathered: Gathered) -> None:
    """Write down which rows of a file were refused, and which records the book has otherwise."""
    place = dropped.folder / REFUSED
    intake = gathered.intake()
    if intake.refused_rows:
        write_refused(intake.refused, place / f"{file.name}.refused.csv")
        write_to_mend(intake, place / f"{file.name}.mend.csv")
    if conflicts := gathered.imported.conflicts:
        lines = [
            f"record {one.record}: the book has it otherwise (entry {one.entry}: "
            f"{', '.join(one.fields)})\n"
            for one in conflicts
        ]
        (place / f"{file.name}.otherwise.txt").write_text("".join(lines), encoding="utf-8")
