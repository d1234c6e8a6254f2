"""Tables whose columns have names and need no heads: Parquet and JSON Lines."""

import json
from collections.abc import Iterator, Mapping, Sequence
from itertools import islice
from typing import Any, BinaryIO

import polars as pl

from qa_engine.errors import IntakeError
from qa_engine.fields import shown
from qa_engine.intake.batch import LINE, ROWS_PER_BATCH
from qa_engine.intake.grids.grid import FILLED, GridPiece, TopRow, check_width, with_filled
from qa_engine.intake.parquet_rows import BROKEN, not_parquet
from qa_engine.intake.refused import Refused, as_written
from qa_engine.intake.workbook import TYPED
from qa_engine.intake.written_file import not_utf8

_ROWS_PER_SLICE = 200_000


class ParquetGrid:
    """A Parquet file as a table.

    Raises:
        IntakeError: it is not Parquet, or a column holds lists or the like.
    """

    sheet: str | None = None
    has_head_rows = False

    def __init__(self, name: str, stream: BinaryIO) -> None:
        self.name = name
        try:
            self._table = pl.scan_parquet(stream)
            self._types = self._table.collect_schema()
        except BROKEN as error:
            raise not_parquet(name, error) from None
        check_width(name, len(self._types))
        for column, dtype in self._types.items():
            if dtype.is_nested():
                raise IntakeError(f"{name}: the column '{column}' is of type {dtype}, no table's")

    def top(self) -> Sequence[TopRow]:
        return ()

    def heads(self, lines: Sequence[int]) -> Mapping[str, str]:
        return {name: name for name in self._types}

    def pieces(self, after: int) -> Iterator[GridPiece]:
        try:
            yield from self._slices(after)
        except BROKEN as error:
            raise not_parquet(self.name, error) from None

    def _slices(self, after: int) -> Iterator[GridPiece]:
        rows = self._table.select(pl.len()).collect().item()
        texts = [_as_text(name, dtype) for name, dtype in self._types.items()]
        for start in range(after, rows, _ROWS_PER_SLICE):
            cells = self._table.slice(start, _ROWS_PER_SLICE).select(texts).collect()
            yield GridPiece(with_filled(cells.with_row_index(LINE, start + 1)))


def _as_text(name: str, dtype: pl.DataType) -> pl.Expr:
    column = pl.col(name)
    if isinstance(dtype, pl.Datetime):
        if dtype.time_zone is None:
            return column.dt.strftime("%Y-%m-%dT%H:%M:%S")
        return column.dt.convert_time_zone("UTC").dt.strftime("%Y-%m-%dT%H:%M:%SZ")
    if dtype.is_numeric():
        return (TYPED + column.cast(pl.String).str.strip_suffix(".0")).alias(name)
    return column.cast(pl.String)


class MembersGrid:
    """A JSON Lines file as a table: the members of its objects are the columns.

    Raises:
        IntakeError: the file is not UTF-8.
    """

    sheet: str | None = None
    has_head_rows = False

    def __init__(self, name: str, stream: BinaryIO) -> None:
        self.name = name
        self._stream = stream
        self._names = self._members()

    def _members(self) -> dict[str, str]:
        names: dict[str, str] = {}
        for piece in self.pieces(0):
            columns = [one for one in piece.cells.columns if one not in (LINE, FILLED)]
            names.update({one: one for one in columns})
            check_width(self.name, len(names))
        return names

    def top(self) -> Sequence[TopRow]:
        return ()

    def heads(self, lines: Sequence[int]) -> Mapping[str, str]:
        return self._names

    def pieces(self, after: int) -> Iterator[GridPiece]:
        self._stream.seek(0)
        lines = islice(enumerate(self._stream, 1), after, None)
        while some := list(islice(lines, ROWS_PER_BATCH)):
            try:
                read = [self._row(n, text.decode("utf-8-sig")) for n, text in some if text.strip()]
            except UnicodeDecodeError:
                raise not_utf8(self.name, self._stream) from None
            rows = [row for row in read if not isinstance(row, Refused)]
            refused = tuple(row for row in read if isinstance(row, Refused))
            names = dict.fromkeys(member for _, row in rows for member in row)
            check_width(self.name, len(names))
            columns = {n: pl.Series([r.get(n) for _, r in rows], dtype=pl.String) for n in names}
            numbers = pl.Series([line for line, _ in rows], dtype=pl.UInt32)
            yield GridPiece(with_filled(pl.DataFrame({**columns, LINE: numbers})), refused)

    def _row(self, line: int, text: str) -> tuple[int, dict[str, str | None]] | Refused:
        try:
            members = json.loads(text, parse_float=_typed, parse_int=_typed)
        except (ValueError, RecursionError) as error:
            return self._refuse(line, text, f"is not JSON: {error}")
        if not isinstance(members, dict):
            return self._refuse(line, text, "is not an object")
        if any(isinstance(one, dict | list) for one in members.values()):
            return self._refuse(line, text, "is nested")
        if "\\u" in text and not _is_text(members):
            return self._refuse(line, text, "has half of a surrogate pair")
        return line, {name: _told(one) for name, one in members.items()}

    def _refuse(self, line: int, text: str, why: str) -> Refused:
        expected = f"one JSON object per line ({shown(why, 200)})"
        return Refused(self.name, line, None, None, as_written(text.strip()), expected)


def _is_text(members: dict[str, Any]) -> bool:
    try:
        json.dumps(members, ensure_ascii=False).encode()
    except UnicodeEncodeError:
        return False
    return True


def _typed(digits: str) -> str:
    return TYPED + digits


def _told(value: Any) -> str | None:
    if isinstance(value, bool):
        return "true" if value else "false"
    return None if value is None else str(value)
