"""A file read chunk by chunk and kept in a record book, or only tried."""

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click
import polars as pl

from qa_engine.cli.import_progress import import_progress
from qa_engine.intake import ColumnMap, Intake
from qa_engine.intake.chunks import Chunk, read_in_chunks

if TYPE_CHECKING:
    from qa_engine.book import Book, Receipt
    from qa_engine.book.importing import Import

ROWS_PER_CHUNK = 50_000
"""How many rows a submission has: others who write wait no longer than it takes to keep them."""


@dataclass(frozen=True)
class Manner:
    """How files are read, and who enters them.

    Attributes:
        by: the id of the person who enters them.
        time_zone: the zone of local times.
        column_map: what the columns of people's own files mean.
        correct: whether records that differ come in as corrections.
        reason: why, where that needs saying.
        now: gives the instant at which a chunk is entered.
    """

    by: str
    now: Callable[[], datetime]
    time_zone: str | None = None
    column_map: ColumnMap | None = None
    correct: bool = False
    reason: str | None = None


@dataclass
class Gathered:
    """What came of the chunks of a file.

    Attributes:
        receipts: those of its submissions, in order.
        kinds: how many records of each kind were accepted.
        read: how many rows it has.
        refused_rows: how many of them were refused.
        repeated: how many only said again what another row of the same chunk says.
        notes: what else should be told.
    """

    receipts: list["Receipt"] = field(default_factory=list)
    kinds: Counter[str] = field(default_factory=Counter)
    read: int = 0
    refused_rows: int = 0
    repeated: int = 0
    notes: dict[str, None] = field(default_factory=dict)
    _refused: list[pl.DataFrame] = field(default_factory=list)
    _to_mend: list[pl.DataFrame] = field(default_factory=list)

    def take(self, intake: Intake) -> None:
        """Add what came of a chunk."""
        self.kinds.update({kind: frame.height for kind, frame in intake.frames.items()})
        self.read += intake.read
        self.refused_rows += intake.refused_rows
        self.repeated += intake.repeated
        self.notes.update(dict.fromkeys(intake.notes))
        self._refused += [intake.refused] if intake.refused.height else []
        self._to_mend += [intake.to_mend] if intake.to_mend.height else []

    @property
    def imported(self) -> "Import":
        """What the book did with them."""
        from qa_engine.book.importing import Import

        return Import(tuple(self.receipts), sum(self.kinds.values()))

    def intake(self) -> Intake:
        """Return what was refused, without the records themselves."""
        from qa_engine.intake.refused import refused_frame

        return Intake(
            frames={},
            refused=pl.concat(self._refused) if self._refused else refused_frame([]),
            read=self.read,
            accepted=sum(self.kinds.values()),
            refused_rows=self.refused_rows,
            repeated=self.repeated,
            notes=tuple(self.notes),
            to_mend=pl.concat(self._to_mend, how="diagonal") if self._to_mend else pl.DataFrame(),
        )


def import_file(book: "Book | None", file: Path, manner: Manner) -> Gathered:
    """Read a file and keep what is accepted; each chunk that is kept stays kept.

    Args:
        book: the record book; none: the file is only tried.
        file: the file.
        manner: how it is read.
    """
    gathered = Gathered()
    with import_progress(file) as told:
        for chunk in read_in_chunks(
            file, manner.column_map, rows=ROWS_PER_CHUNK, time_zone=manner.time_zone
        ):
            gathered.take(chunk.intake)
            if book is not None:
                gathered.receipts += _keep(book, file, chunk, manner)
            told(chunk.intake.read, chunk.done)
    return gathered


def _keep(book: "Book", file: Path, chunk: Chunk, manner: Manner) -> "tuple[Receipt, ...]":
    """Keep what a chunk brings, and beside it the rows of it that were refused."""
    from qa_engine.book import Submission
    from qa_engine.book.importing import Part, add_parts
    from qa_engine.book.refusals import keep_refused

    key = f"{chunk.key}:correct" if manner.correct else chunk.key
    submission = Submission(key, manner.now(), manner.by, file.name, manner.reason)
    parts = [Part(key, chunk.intake.frames)] if chunk.intake.frames else []
    done = add_parts(book, parts, submission, differing="correct" if manner.correct else "refuse")
    keep_refused(book, key, chunk.intake)
    return done.receipts


def tell_tried(file: Path, gathered: Gathered) -> None:
    """Say what a file would bring, on standard output."""
    found = [f"{count:,} {kind}" for kind, count in gathered.kinds.items()]
    taken = ", ".join(found) or "nothing"
    click.echo(f"{file}: {gathered.read:,} rows read; would be taken: {taken}.")
    if gathered.refused_rows:
        rows = "1 row" if gathered.refused_rows == 1 else f"{gathered.refused_rows:,} rows"
        click.echo(f"{file}: {rows} would be refused, for the reasons on standard error.")
    click.echo("Nothing was added: this was a dry run.")
