"""Sheets of workbooks as tables, merged cells and all."""

from collections.abc import Iterator, Mapping, Sequence

import polars as pl

from qa_engine.intake.batch import LINE
from qa_engine.intake.grids.grid import TOP_ROWS, GridPiece, TopRow, joined_heads, with_filled
from qa_engine.intake.workbook import TYPED, Sheet, letters, spread_across, spread_down


class SheetGrid:
    """A sheet of a workbook; its columns are known by their letters."""

    has_head_rows = True

    def __init__(self, name: str, sheet: Sheet) -> None:
        self.name = name
        self.sheet: str | None = sheet.name
        self._held = sheet
        self._keys = [letters(at) for at in range(sheet.width)]

    def top(self) -> Sequence[TopRow]:
        rows = self._held.rows[:TOP_ROWS]
        return [TopRow(line, tuple(row)) for line, row in enumerate(rows, 1)]

    def heads(self, lines: Sequence[int]) -> Mapping[str, str]:
        covered = spread_across(self._held)
        rows = []
        for line in lines:
            written = self._held.rows[line - 1] if line <= len(self._held.rows) else []
            padded = [*written, *[None] * (len(self._keys) - len(written))]
            rows.append(
                [
                    (cell or covered.get((line - 1, at)) or "").removeprefix(TYPED)
                    for at, cell in enumerate(padded)
                ]
            )
        return dict(zip(self._keys, joined_heads(rows), strict=True))

    def pieces(self, after: int) -> Iterator[GridPiece]:
        """Yield the rows; what a merged range says holds for all its rows that hold more."""
        rows = [[*row, *[None] * (len(self._keys) - len(row))] for row in self._held.rows]
        schema = dict.fromkeys(self._keys, pl.String())
        cells = pl.DataFrame(rows[after:], schema=schema, orient="row")
        cells = with_filled(cells.with_row_index(LINE, after + 1))
        below: dict[str, dict[int, str]] = {}
        for row, column, written in spread_down(self._held):
            if row >= after:
                below.setdefault(self._keys[column], {})[row - after] = written
        columns = [
            cells[key].scatter(list(spread), list(spread.values())) for key, spread in below.items()
        ]
        yield GridPiece(cells.with_columns(columns))
