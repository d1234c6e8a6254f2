"""Lays a column map on the tables of a file: rows become batches for the desk."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import groupby

import polars as pl

from qa_engine.errors import IntakeError
from qa_engine.fields import Quantity
from qa_engine.intake.batch import LINE, Batch
from qa_engine.intake.column_map.column_map import Column, ColumnMap, MappedTable
from qa_engine.intake.column_map.matching import Matched, match
from qa_engine.intake.column_map.reading_cells import as_written, cells_read
from qa_engine.intake.column_map.record_ids import RecordIds
from qa_engine.intake.column_map.record_rows import LeftOut, record_rows
from qa_engine.intake.column_map.telling import Telling
from qa_engine.intake.grids import Grid, GridPiece
from qa_engine.intake.refused import sheet_name
from qa_engine.records import RECORD_FIELDS


@dataclass(frozen=True)
class MappedBatch:
    """A batch of records, or a sentence about the rows that are none."""

    batch: Batch | None
    notes: tuple[str, ...] = ()


def mapped_batches(grids: tuple[Grid, ...], column_map: ColumnMap) -> Iterator[MappedBatch]:
    """Yield the records of a file's tables.

    Raises:
        IntakeError: a sheet or column is not in the map, or one of the map is not there.
    """
    for grid, tables in _chosen(grids, column_map):
        matched = match(tables, grid)
        layers = [_Layer(grid, table, one) for table, one in zip(tables, matched, strict=True)]
        for place, (after, group) in enumerate(
            groupby(layers, key=lambda layer: layer.matched.last_line)
        ):
            same_rows = list(group)
            for piece in grid.pieces(after):
                told = piece if place == 0 else replace(piece, refused=())
                for number, layer in enumerate(same_rows):
                    yield layer.lay(told if number == 0 else replace(told, refused=()))
        notes = [note for layer in layers for note in layer.notes()]
        yield MappedBatch(None, tuple(dict.fromkeys(notes)))


def _chosen(
    grids: tuple[Grid, ...], column_map: ColumnMap
) -> Iterator[tuple[Grid, tuple[MappedTable, ...]]]:
    unknown = []
    for grid in grids:
        tables = column_map.tables_for(grid.sheet)
        if grid.sheet in column_map.sheets_left_out:
            continue
        if tables:
            yield grid, tables
        else:
            unknown.append(
                f"{grid.name}: the sheet '{grid.sheet}' is not in the map; name it in a table, or "
                "under 'sheets_left_out'"
            )
    if unknown:
        raise IntakeError("\n".join(unknown))


class _Layer:
    """One table of a map on one table of a file."""

    def __init__(self, grid: Grid, table: MappedTable, matched: Matched) -> None:
        self.grid, self.table, self.matched = grid, table, matched
        self.source = grid.name if grid.sheet is None else sheet_name(grid.name, grid.sheet)
        self.left_out = LeftOut()
        self._columns = list(zip(table.columns, matched.keys, strict=True))
        self._moments = [key for column, key in self._columns if column.field == "at"]
        lines = table.head_lines if grid.has_head_rows else ()
        self._heads = [grid.heads([line]) for line in lines]
        constants = sorted(table.always.items())
        self._ids = RecordIds(grid.sheet or "", repr(constants))
        self._last: dict[str, str] = {}

    def lay(self, piece: GridPiece) -> MappedBatch:
        """Return the records of some rows."""
        missing = [key for _, key in self._columns if key not in piece.cells.columns]
        cells = piece.cells.with_columns(pl.lit(None, pl.String).alias(key) for key in missing)
        cells = record_rows(cells, self.table, self._moments, self._heads, self.left_out)
        written = self._carried(pl.DataFrame([cells[LINE], *self._as_written(cells)]))
        read = pl.DataFrame([cells[LINE], *self._read(written)])
        always = self.table.always.items()
        read = read.with_columns(pl.lit(said).alias(name) for name, said in always)
        if "record" not in read.columns:
            read = read.with_columns(self._make_ids(written))
        telling = Telling(
            self.table,
            self._columns,
            written,
            read,
            self.grid.has_head_rows and self.grid.sheet is not None,
        )
        if self.table.where:
            read = read.filter(pl.any_horizontal(pl.col(self.table.where).is_not_null()))
        batch = Batch(
            read,
            self._units(),
            piece.refused,
            self.grid.sheet,
            self.table.time_zone or None,
            telling.tell,
        )
        return MappedBatch(batch)

    def notes(self) -> Iterator[str]:
        """Yield what the caller should be told about the rows so far."""
        yield from self.left_out.sentences(self.source)
        if self._ids.same:
            rows = "1 row says" if self._ids.same == 1 else f"{self._ids.same} rows say"
            yield f"{self.source}: {rows} just what a row before says; each was taken as a record"

    def _name(self, at: int) -> str:
        return f"written {at}"

    def _as_written(self, cells: pl.DataFrame) -> Iterator[pl.Series]:
        for at, (column, key) in enumerate(self._columns):
            yield as_written(cells[key], column, self.table.nothing).alias(self._name(at))

    def _carried(self, written: pl.DataFrame) -> pl.DataFrame:
        """Return the cells, with what columns that carry on said above."""
        for at, (column, _) in enumerate(self._columns):
            if column.carries_on and written.height:
                name = self._name(at)
                cells = written[name].fill_null(strategy="forward")
                if name in self._last:
                    cells = cells.fill_null(self._last[name])
                written = written.with_columns(cells)
                if (last := cells[-1]) is not None:
                    self._last[name] = last
        return written

    def _read(self, written: pl.DataFrame) -> Iterator[pl.Series]:
        fields: dict[str, list[tuple[Column, pl.Series]]] = {}
        for at, (column, _) in enumerate(self._columns):
            fields.setdefault(column.field, []).append((column, written[self._name(at)]))
        for field, columns in fields.items():
            yield cells_read(self.table, field, columns)

    def _make_ids(self, written: pl.DataFrame) -> pl.Series:
        chosen = self.table.record_from
        names = [
            self._name(at)
            for at, (column, _) in enumerate(self._columns)
            if not chosen or column.field in chosen
        ]
        return self._ids.make(written, names)

    def _units(self) -> dict[str, str]:
        return {
            column.field: column.unit
            for column, _ in self._columns
            if column.unit and isinstance(RECORD_FIELDS[column.field], Quantity)
        }
