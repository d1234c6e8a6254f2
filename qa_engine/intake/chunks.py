"""Files read in chunks, so that an import of any size is bounded in memory and can be resumed."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from hashlib import sha256
from pathlib import Path
from typing import BinaryIO

from qa_engine.intake.batch import Batch
from qa_engine.intake.column_map import ColumnMap, MappedBatch, check_answered
from qa_engine.intake.desk import Desk, Intake
from qa_engine.intake.mapped_files import batches_with_map
from qa_engine.intake.record_files import reader_of
from qa_engine.intake.written_file import WrittenFile

ROWS_PER_CHUNK = 100_000
"""How many rows a chunk has at most; a file is always cut at the same rows."""

_PIECE = 1 << 20


@dataclass(frozen=True)
class Chunk:
    """Some rows of a file, read and judged.

    Attributes:
        number: which chunk of the file it is, from 1.
        key: a digest of file, map and cutting, and the number: the same rows read again in the
            same way have the same key, so that a book takes them once.
        intake: what came of the rows.
        done: the share of the file that has been read by now; none at its end, or if that cannot
            be told.
        sheet: the sheet that the rows stand on; none in files without sheets.
    """

    number: int
    key: str
    intake: Intake
    done: float | None
    sheet: str | None = None


def read_in_chunks(
    file: Path | WrittenFile,
    column_map: ColumnMap | None = None,
    *,
    rows: int = ROWS_PER_CHUNK,
    time_zone: str | None = None,
) -> Iterator[Chunk]:
    """Yield a file's rows chunk by chunk; ids and line numbers are those of the whole file.

    An id that stands twice in one chunk is settled here, one that stands in two chunks is for the
    book to settle.

    Args:
        file: the file.
        column_map: what its columns mean; none: they bear our names.
        rows: how many rows a chunk has at most.
        time_zone: the zone of local times, where the map does not say.

    Raises:
        ColumnMapError: the map has questions left.
        IntakeError: the file cannot be read at all, or does not fit the map.
    """
    if column_map is not None:
        check_answered(column_map)
    written = WrittenFile.of(file)
    with written.open() as stream:
        size = stream.seek(0, 2)
        stream.seek(0)
        start = digest_of(stream, column_map, rows, time_zone)
        cut = _cut(_batches(written, stream, column_map), rows)
        for number, (batch, notes) in enumerate(cut, 1):
            desk = Desk(time_zone)
            for note in notes:
                desk.note(note)
            if batch is not None:
                desk.take(batch, written.name)
            done = None if stream.tell() == size else stream.tell() / size
            sheet = None if batch is None else batch.sheet
            yield Chunk(number, f"{start}-{number}", desk.intake(), done, sheet)


def digest_of(
    stream: BinaryIO, column_map: ColumnMap | None, rows: int, time_zone: str | None
) -> str:
    """Return the digest of a file and of the way it is read; the stream is left at its start."""
    digest = sha256(f"{rows} {time_zone or ''}\n".encode())
    digest.update(column_map.text.encode() if column_map else b"")
    while piece := stream.read(_PIECE):
        digest.update(piece)
    stream.seek(0)
    return digest.hexdigest()


def _batches(
    file: WrittenFile, stream: BinaryIO, column_map: ColumnMap | None
) -> Iterator[MappedBatch]:
    if column_map is not None:
        yield from batches_with_map(file, stream, column_map)
    else:
        reader = reader_of(file)
        yield from (MappedBatch(batch) for batch in reader(file.name, stream))


def _cut(
    batches: Iterator[MappedBatch], rows: int
) -> Iterator[tuple[Batch | None, tuple[str, ...]]]:
    for one in batches:
        if one.batch is None:
            if one.notes:
                yield None, one.notes
            continue
        cells = one.batch.cells
        for start in range(0, max(1, cells.height), rows):
            refused = one.batch.refused if start == 0 else ()
            part = replace(one.batch, cells=cells.slice(start, rows), refused=refused)
            if part.cells.height or refused:
                yield part, one.notes if start == 0 else ()
