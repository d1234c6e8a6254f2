"""What every table is seen as, whatever file it comes from."""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple, Protocol

import polars as pl

from qa_engine.errors import IntakeError
from qa_engine.intake.batch import LINE
from qa_engine.intake.refused import Refused

FILLED = "number of filled cells"
"""The column that says how many cells of a row hold anything; no column of a table is so called."""

TOP_ROWS = 60
"""How many rows of a table are looked through for its heads."""

MOST_COLUMNS = 2_000
"""How many columns a table may have; each costs memory in every row, filled or not."""

JOINED = " / "
"""Stands between the heads of one column, where heads stand above each other."""


class TopRow(NamedTuple):
    """One of the first rows of a table, with the line or row that it begins on."""

    line: int
    cells: tuple[str | None, ...]


@dataclass(frozen=True)
class GridPiece:
    """Some rows of a table.

    Attributes:
        cells: a column of text per column of the table, and ``LINE`` and ``FILLED``.
        refused: rows that could not be split into cells.
    """

    cells: pl.DataFrame
    refused: tuple[Refused, ...] = ()


class Grid(Protocol):
    """A table: a sheet of a workbook, or the table that a file holds."""

    name: str
    sheet: str | None
    has_head_rows: bool

    def top(self) -> Sequence[TopRow]:
        """Return its first rows."""

    def heads(self, lines: Sequence[int]) -> Mapping[str, str]:
        """Return the head of each column by its key; keys are letters, or names themselves.

        Args:
            lines: the lines on which heads stand, the upper one first.
        """

    def pieces(self, after: int) -> Iterator[GridPiece]:
        """Yield its rows behind a line, some at a time."""


def tidy(written: str | None) -> str:
    """Return a head with its blanks and line breaks as single spaces."""
    return re.sub(r"\s+", " ", written or "").strip()


def joined_heads(rows: Sequence[Sequence[str | None]]) -> list[str]:
    """Return a head for each column of heads that stand in several rows.

    An upper head that stands for several columns is written above the first of them: it holds to
    the right until the next one, wherever a lower head stands below it.
    """
    width = max(map(len, rows), default=0)
    grid = [[tidy(row[at]) if at < len(row) else "" for at in range(width)] for row in rows]
    for upper, lower in pairwise(grid):
        for at in range(1, width):
            if not upper[at] and lower[at]:
                upper[at] = upper[at - 1]
    columns = [[row[at] for row in grid] for at in range(width)]
    return [JOINED.join(dict.fromkeys(part for part in parts if part)) for parts in columns]


def with_filled(cells: pl.DataFrame) -> pl.DataFrame:
    """Return cells with blanks as nothing, and the number of filled ones."""
    names = [name for name in cells.columns if name != LINE]
    if not names:
        return cells.with_columns(pl.lit(0, pl.UInt32).alias(FILLED))
    blank = pl.col(names).str.strip_chars(BLANKS) == ""
    cells = cells.with_columns(pl.when(~blank).then(pl.col(names)).name.keep())
    return cells.with_columns(pl.sum_horizontal(pl.col(names).is_not_null()).alias(FILLED))


BLANKS = " \t\r\n\N{NO-BREAK SPACE}\N{NARROW NO-BREAK SPACE}\N{ZERO WIDTH NO-BREAK SPACE}"
"""Characters of which a cell that holds nothing else is empty."""


def check_width(name: str, columns: int) -> None:
    """See that a table has not too many columns.

    Raises:
        IntakeError: it has.
    """
    if columns > MOST_COLUMNS:
        raise IntakeError(
            f"{name}: the table has {columns:,} columns; at most {MOST_COLUMNS:,} are taken: leave "
            "out those that say nothing of records"
        )
