"""Tables in text files: cells separated by commas, semicolons, tabs or upright strokes."""

import csv
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from itertools import islice
from typing import BinaryIO

from qa_engine.intake.csv_lines import SEPARATORS, rows_of, table_batches
from qa_engine.intake.grids.grid import (
    TOP_ROWS,
    GridPiece,
    TopRow,
    check_width,
    joined_heads,
    with_filled,
)
from qa_engine.intake.workbook import letters

_LINES_LOOKED_AT = 40


def separator_of(stream: BinaryIO) -> str:
    """Return what separates the cells: what stands in the same number on most lines."""
    lines = [line.decode(errors="replace") for line in islice(stream, _LINES_LOOKED_AT)]
    stream.seek(0)
    return max(SEPARATORS, key=lambda one: _regularity(lines, one))


def _regularity(lines: Sequence[str], separator: str) -> tuple[int, int]:
    try:
        widths = [len(row) for row in csv.reader(lines, delimiter=separator) if any(row)]
    except csv.Error:
        return 0, 0
    counted = Counter(width for width in widths if width > 1)
    width, rows = max(counted.items(), key=lambda one: (one[1], one[0]), default=(0, 0))
    return rows, width


class TextGrid:
    """A text file in UTF-8 as a table; its columns are known by letters, as a sheet would.

    Args:
        name: the file, for messages.
        stream: its text, at the beginning.
        separator: what stands between cells; found out if not given.

    Raises:
        IntakeError: the text is not UTF-8, or a quotation mark is never closed.
    """

    sheet: str | None = None
    has_head_rows = True

    def __init__(self, name: str, stream: BinaryIO, separator: str | None = None) -> None:
        self.name = name
        self.separator = separator or separator_of(stream)
        self._stream = stream
        stream.seek(0)
        rows = islice(rows_of(name, stream, 1, self.separator), TOP_ROWS)
        self._top = [
            TopRow(row.line, tuple(cell or None for cell in row.cells))
            for row in rows
            if not row.wrong
        ]
        width = max((len(row.cells) for row in self._top), default=0)
        check_width(name, width)
        self._keys = [letters(at) for at in range(width)]

    def top(self) -> Sequence[TopRow]:
        return self._top

    def heads(self, lines: Sequence[int]) -> Mapping[str, str]:
        found = {row.line: row.cells for row in self._top}
        joined = joined_heads([found.get(line, ()) for line in lines])
        padded = joined + [""] * (len(self._keys) - len(joined))
        return dict(zip(self._keys, padded, strict=True))

    def pieces(self, after: int) -> Iterator[GridPiece]:
        line = self._skip(after)
        for batch in table_batches(self.name, self._stream, self._keys, line, self.separator):
            yield GridPiece(with_filled(batch.cells), batch.refused)

    def _skip(self, after: int) -> int:
        """Go behind a line, or behind the row that begins on it, and return the next line."""
        self._stream.seek(0)
        behind = [row.line for row in self._top if row.line > after]
        ends = min(behind) - 1 if behind else after
        for _ in range(ends):
            self._stream.readline()
        return ends + 1
