"""Files of records, read into one typed frame per kind."""

from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import BinaryIO

from qa_engine.errors import IntakeError
from qa_engine.intake.batch import Batch
from qa_engine.intake.csv_lines import csv_batches
from qa_engine.intake.desk import Desk, Intake
from qa_engine.intake.json_lines import json_batches
from qa_engine.intake.parquet_rows import parquet_batches
from qa_engine.intake.workbook_rows import workbook_batches
from qa_engine.intake.written_file import WrittenFile

READERS: dict[str, Callable[[str, BinaryIO], Iterator[Batch]]] = {
    ".csv": csv_batches,
    ".jsonl": json_batches,
    ".ndjson": json_batches,
    ".parquet": parquet_batches,
    ".xlsx": workbook_batches,
}
"""What reads a file of each sort, by the end of its name."""


def read_records(files: Sequence[Path | WrittenFile], *, time_zone: str | None = None) -> Intake:
    """Read files of records; rows that cannot be taken are refused, each with its reason.

    Args:
        files: CSV, JSON Lines, Parquet or XLSX files, told apart by their suffix.
        time_zone: the zone of local times; without it a time without offset is refused.

    Raises:
        IntakeError: a file cannot be read at all, has an unknown column, or the time zone is
            unknown.
    """
    desk = Desk(time_zone)
    for number, written in enumerate(files):
        file = WrittenFile.of(written)
        for batch in batches_of(file):
            desk.take(batch, file.name, number)
    return desk.intake()


def batches_of(file: WrittenFile) -> Iterator[Batch]:
    """Yield the rows of a file of records whose columns bear our names.

    Raises:
        IntakeError: it cannot be read at all, or has an unknown column.
    """
    reader = reader_of(file)
    with file.open() as stream:
        yield from reader(file.name, stream)


def reader_of(file: WrittenFile) -> Callable[[str, BinaryIO], Iterator[Batch]]:
    """Return what reads a file of records, by the end of its name.

    Raises:
        IntakeError: nothing does.
    """
    if file.suffix not in READERS:
        known = ", ".join(READERS)
        raise IntakeError(f"{file.name}: the name should end in one of {known}")
    return READERS[file.suffix]
