"""Opens a file as the tables that it holds."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import BinaryIO

from qa_engine.errors import IntakeError
from qa_engine.intake.grids.grid import Grid
from qa_engine.intake.grids.named_grids import MembersGrid, ParquetGrid
from qa_engine.intake.grids.sheet_grid import SheetGrid
from qa_engine.intake.grids.text_grid import TextGrid
from qa_engine.intake.text_encoding import as_utf8, encoding_of
from qa_engine.intake.workbook import read_workbook
from qa_engine.intake.written_file import WrittenFile

TEXT_TABLES = (".csv", ".tsv", ".tab", ".txt")
SUFFIXES = (*TEXT_TABLES, ".xlsx", ".jsonl", ".ndjson", ".parquet")
"""The ends of the names of files that a column map can be laid on."""


@dataclass(frozen=True)
class TextForm:
    """How a text file is written; what is not given is found out.

    Attributes:
        encoding: one of the encodings that are taken.
        separator: what stands between cells.
    """

    encoding: str | None = None
    separator: str | None = None


@contextmanager
def grids_of(file: WrittenFile, stream: BinaryIO, form: TextForm) -> Iterator[tuple[Grid, ...]]:
    """Give the tables that a file holds, as long as its stream is open.

    Raises:
        IntakeError: the file is of no known sort or cannot be read.
    """
    if file.suffix in TEXT_TABLES:
        encoding = form.encoding or encoding_of(stream)
        with as_utf8(file.name, stream, encoding) as text:
            yield (TextGrid(file.name, text, form.separator),)
    elif file.suffix == ".xlsx":
        yield tuple(SheetGrid(file.name, sheet) for sheet in read_workbook(file.name, stream))
    elif file.suffix == ".parquet":
        yield (ParquetGrid(file.name, stream),)
    elif file.suffix in (".jsonl", ".ndjson"):
        yield (MembersGrid(file.name, stream),)
    else:
        known = ", ".join(SUFFIXES)
        raise IntakeError(f"{file.name}: the name should end in one of {known}")
