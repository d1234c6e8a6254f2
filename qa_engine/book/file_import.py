"""A file read chunk by chunk and kept in a record book, or only tried against it."""

from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

import polars as pl

from qa_engine.book.canonical import Submission
from qa_engine.book.importing import Import, Part, add_parts
from qa_engine.book.refusals import keep_refused
from qa_engine.book.store import Book
from qa_engine.book.submission import Conflict, Receipt
from qa_engine.intake import ColumnMap, Intake, WrittenFile
from qa_engine.intake.chunks import Chunk, read_in_chunks
from qa_engine.intake.refused import refused_frame

ROWS_PER_CHUNK = 50_000
"""How many rows a submission has: others who write wait no longer than it takes to keep them."""

Told = Callable[[int, float | None], None]
"""Is told of so many more rows, and of the share of the file that is read if that is known."""


@dataclass(frozen=True)
class Manner:
    """How files are read, and who enters them.

    Attributes:
        by: the id of the person who enters them.
        now: gives the instant at which a chunk is entered.
        time_zone: the zone of local times.
        column_map: what the columns of people's own files mean.
        correct: whether records that differ come in as corrections.
        reason: why, where that needs saying.
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
        sheets: the same by the sheet they stand on; no name for files without sheets.
        read: how many rows it has.
        refused_rows: how many of them were refused.
        repeated: how many only said again what another row of the same chunk says.
        notes: what else should be told.
        had: of a trial, how many records the book has word for word.
        otherwise: of a trial, the records that the book has otherwise.
    """

    receipts: list[Receipt] = field(default_factory=list)
    kinds: Counter[str] = field(default_factory=Counter)
    sheets: Counter[tuple[str | None, str]] = field(default_factory=Counter)
    read: int = 0
    refused_rows: int = 0
    repeated: int = 0
    notes: dict[str, None] = field(default_factory=dict)
    had: int = 0
    otherwise: list[Conflict] = field(default_factory=list)
    _refused: list[pl.DataFrame] = field(default_factory=list)
    _to_mend: list[pl.DataFrame] = field(default_factory=list)

    def take(self, chunk: Chunk) -> None:
        """Add what came of a chunk."""
        intake = chunk.intake
        counts = {kind: frame.height for kind, frame in intake.frames.items()}
        self.kinds.update(counts)
        self.sheets.update({(chunk.sheet, kind): count for kind, count in counts.items()})
        self.read += intake.read
        self.refused_rows += intake.refused_rows
        self.repeated += intake.repeated
        self.notes.update(dict.fromkeys(intake.notes))
        self._refused += [intake.refused] if intake.refused.height else []
        self._to_mend += [intake.to_mend] if intake.to_mend.height else []

    @property
    def imported(self) -> Import:
        """What the book did with them."""
        return Import(tuple(self.receipts), sum(self.kinds.values()))

    def intake(self) -> Intake:
        """Return what was refused, without the records themselves."""
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


def take_file(
    book: Book | None,
    file: Path | WrittenFile,
    manner: Manner,
    *,
    told: Told = lambda rows, done: None,
) -> Gathered:
    """Read a file and keep what is accepted; each chunk that is kept stays kept.

    Args:
        book: the record book; none: the file is only tried.
        file: the file.
        manner: how it is read.
        told: is told of each chunk.
    """
    gathered = Gathered()
    written = WrittenFile.of(file)
    source = Path(written.name).name
    for chunk in _chunks(written, manner):
        gathered.take(chunk)
        if book is not None:
            gathered.receipts += _keep(book, source, chunk, manner)
        told(chunk.intake.read, chunk.done)
    return gathered


def try_file(
    book: Book,
    file: Path | WrittenFile,
    manner: Manner,
    *,
    told: Told = lambda rows, done: None,
) -> Gathered:
    """Read a file, compare it with what a record book has, and keep nothing.

    Args:
        book: the record book.
        file: the file.
        manner: how it is read.
        told: is told of each chunk.
    """
    gathered = Gathered()
    for chunk in _chunks(WrittenFile.of(file), manner):
        gathered.take(chunk)
        met = book.compare(chunk.intake.frames)
        gathered.had += met.repeated
        gathered.otherwise += met.conflicts()
        told(chunk.intake.read, chunk.done)
    return gathered


def _chunks(file: WrittenFile, manner: Manner) -> Iterator[Chunk]:
    return read_in_chunks(file, manner.column_map, rows=ROWS_PER_CHUNK, time_zone=manner.time_zone)


def _keep(book: Book, source: str, chunk: Chunk, manner: Manner) -> tuple[Receipt, ...]:
    """Keep what a chunk brings, and beside it the rows of it that were refused."""
    key = f"{chunk.key}:correct" if manner.correct else chunk.key
    submission = Submission(key, manner.now(), manner.by, source, manner.reason)
    parts = [Part(key, chunk.intake.frames)] if chunk.intake.frames else []
    done = add_parts(book, parts, submission, differing="correct" if manner.correct else "refuse")
    keep_refused(book, key, chunk.intake)
    return done.receipts
