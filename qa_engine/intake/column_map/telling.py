"""Says of a refused record in which cell of the table the mistake stands, in the table's words."""

from bisect import bisect_left
from collections.abc import Sequence

import polars as pl

from qa_engine.intake.batch import LINE, NOT_READ
from qa_engine.intake.column_map.column_map import Column, MappedTable
from qa_engine.intake.column_map.reading_cells import wanted
from qa_engine.intake.refused import Refused
from qa_engine.intake.refused import as_written as shown_cell
from qa_engine.intake.workbook import TYPED

_NO_TIME = "is not a time"


class Telling:
    """Knows the rows of one batch as they were written.

    Args:
        table: what the map says of them.
        columns: the columns and their keys.
        written: the cells as written, in the order of the columns, after ``LINE``.
        read: the cells as they were read, by field.
        in_sheet: whether keys are letters of a sheet's columns.
    """

    def __init__(
        self,
        table: MappedTable,
        columns: Sequence[tuple[Column, str]],
        written: pl.DataFrame,
        read: pl.DataFrame,
        in_sheet: bool,
    ) -> None:
        self._table, self._columns, self._in_sheet = table, columns, in_sheet
        self._written, self._read = written, read
        self._lines = written[LINE]

    def tell(self, refused: Refused) -> Refused:
        """Return a problem with its cell, what was written there, and what would do."""
        places = [at for at, (one, _) in enumerate(self._columns) if one.field == refused.field]
        if not places:
            return refused
        row = bisect_left(self._lines, refused.line)  # lines rise
        column, key = self._columns[places[0]]
        cells = [self._written.item(row, at + 1) for at in places]
        said = " ".join(cell.removeprefix(TYPED) for cell in cells if cell is not None)
        expected = self._expected(refused, column, row)
        cell = f"{key}{refused.line}" if self._in_sheet else column.head or key
        return refused._replace(written=shown_cell(said or None), expected=expected, cell=cell)

    def _expected(self, refused: Refused, column: Column, row: int) -> str:
        why, _, _ = refused.expected.partition("; expected ")
        read = self._read[column.field][row]
        failed = isinstance(read, str) and read.startswith(NOT_READ)
        no_time = column.field == "at" and why.startswith(_NO_TIME)
        if failed or no_time:
            return f"{why}; expected {wanted(column, self._table)}"
        return refused.expected
