"""Rows as they come from a file, some at a time, before anything has judged their cells."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import polars as pl

from qa_engine.intake.refused import Refused

LINE = "line of the file"
"""The column that says where a row stands; no field has a space in its name."""

ROWS_PER_BATCH = 100_000

NOT_READ = "\N{SUBSTITUTE}"
"""Stands before a cell that a column map could not read, so that no field takes it by chance."""


@dataclass(frozen=True)
class Batch:
    """Some rows of a file.

    Attributes:
        cells: a column per field as written (text, or native values from Parquet), and ``LINE``.
        units: the units that column heads gave, by field.
        refused: rows that could not even be split into cells.
        sheet: the sheet of a workbook that they stand in.
        time_zone: the zone of local times, where it is not the one of the whole call.
        tell: says of a problem in which cell it stands and what was written there.
    """

    cells: pl.DataFrame
    units: Mapping[str, str]
    refused: tuple[Refused, ...] = ()
    sheet: str | None = None
    time_zone: str | None = None
    tell: Callable[[Refused], Refused] | None = None

    @property
    def refused_rows(self) -> int:
        """Return how many rows could not be split into cells."""
        return len({row.line for row in self.refused})


def text_batch(
    rows: list[list[str | None]], lines: list[int], names: list[str], units: Mapping[str, str]
) -> Batch:
    """Return rows of text as a batch; each row has a cell per name."""
    cells = pl.DataFrame(rows, schema=dict.fromkeys(names, pl.String()), orient="row")
    return Batch(cells.with_columns(pl.Series(LINE, lines, dtype=pl.UInt32)), units)
