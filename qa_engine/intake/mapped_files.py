"""Files of people's own, read with a column map."""

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import BinaryIO

from qa_engine.intake.column_map import ColumnMap, MappedBatch, check_answered, mapped_batches
from qa_engine.intake.desk import Desk, Intake
from qa_engine.intake.grids import grids_of
from qa_engine.intake.grids.opening import TEXT_TABLES
from qa_engine.intake.text_encoding import CP1252, encoding_of
from qa_engine.intake.written_file import WrittenFile


def read_with_map(
    files: Sequence[Path | WrittenFile], column_map: ColumnMap, *, time_zone: str | None = None
) -> Intake:
    """Read files with a column map; rows that cannot be taken are refused, each with its reason.

    Args:
        files: XLSX, CSV and other text tables, JSON Lines or Parquet, told apart by their suffix.
        column_map: what their columns mean.
        time_zone: the zone of local times, where the map does not say.

    Raises:
        ColumnMapError: the map has questions left.
        IntakeError: a file cannot be read at all, or does not fit the map.
    """
    check_answered(column_map)
    desk = Desk(time_zone)
    for number, written in enumerate(files):
        file = WrittenFile.of(written)
        with file.open() as stream:
            for one in batches_with_map(file, stream, column_map):
                for note in one.notes:
                    desk.note(note)
                if one.batch is not None:
                    desk.take(one.batch, file.name, number)
    return desk.intake()


def batches_with_map(
    file: WrittenFile, stream: BinaryIO, column_map: ColumnMap
) -> Iterator[MappedBatch]:
    """Yield the records of a file, some at a time.

    Raises:
        IntakeError: it cannot be read at all, or does not fit the map.
    """
    detected = file.suffix in TEXT_TABLES and column_map.form.encoding is None
    if detected and encoding_of(stream) == CP1252:
        note = f"{file.name}: read as cp1252 text, since it is not UTF-8; look at its umlauts"
        yield MappedBatch(None, (note,))
    with grids_of(file, stream, column_map.form) as grids:
        yield from mapped_batches(grids, column_map)
