"""Rows of JSON Lines files: one object per line, its values taken as they were written."""

import json
import re
from collections.abc import Iterator, Mapping
from itertools import islice
from typing import Any, BinaryIO

import polars as pl

from qa_engine.fields import NUMBER, RecordField, shown
from qa_engine.intake.batch import LINE, ROWS_PER_BATCH, Batch
from qa_engine.intake.heads import Head, read_heads
from qa_engine.intake.refused import Refused, as_written
from qa_engine.intake.written_file import not_utf8
from qa_engine.records import RECORD_FIELDS

BYTE_ORDER_MARK = "\N{ZERO WIDTH NO-BREAK SPACE}"


class _Members(list[tuple[str, Any]]):
    """The members of an object in their order, repeated names and all."""


_DECODER = json.JSONDecoder(
    object_pairs_hook=_Members, parse_float=str, parse_int=str, parse_constant=str
)
_Cells = dict[str, str | None]


class _Heads(dict[str, Head]):
    """What the members' names mean, as far as they were met, and the fields that they may name."""

    def __init__(self, fields: Mapping[str, RecordField]) -> None:
        super().__init__()
        self.fields = fields

    def of(self, place: str, written: str) -> Head:
        """Return the head that a member's name is.

        Raises:
            IntakeError: it names no field.
        """
        if written not in self:
            self[written] = read_heads(place, [written], self.fields)[0]
        return self[written]


def json_batches(
    name: str, stream: BinaryIO, fields: Mapping[str, RecordField] = RECORD_FIELDS
) -> Iterator[Batch]:
    """Yield the rows of a JSON Lines file, by default one of records.

    Raises:
        IntakeError: the file is not UTF-8, or a member's name is no field.
    """
    heads = _Heads(fields)
    lines = enumerate(stream, 1)
    while some := list(islice(lines, ROWS_PER_BATCH)):
        try:
            written = [(line, text.decode().strip()) for line, text in some]
        except UnicodeDecodeError:
            raise not_utf8(name, stream) from None
        read = [_row(name, line, text, heads) for line, text in written if text]
        yield _batch([row for row in read if not isinstance(row, Refused)], read)


def _batch(rows: list[tuple[int, _Cells]], read: list[Any]) -> Batch:
    names = dict.fromkeys(field for _, cells in rows for field in cells)
    columns = {
        field: pl.Series([cells.get(field) for _, cells in rows], dtype=pl.String)
        for field in names
    }
    lines = pl.Series([line for line, _ in rows], dtype=pl.UInt32)
    refused = tuple(row for row in read if isinstance(row, Refused))
    return Batch(pl.DataFrame({**columns, LINE: lines}), {}, refused)


def _row(name: str, line: int, text: str, heads: _Heads) -> tuple[int, _Cells] | Refused:
    """Return the cells of a line, or why it has none."""
    if line == 1:
        text = text.removeprefix(BYTE_ORDER_MARK)
    try:
        members = _DECODER.decode(text)
    except ValueError as error:
        return _refuse(name, line, None, None, text, f"is not JSON: {error}")
    except RecursionError:
        return _refuse(name, line, None, None, text, "is nested too deeply")
    if not isinstance(members, _Members):
        return _refuse(name, line, None, None, text, "is not an object")
    cells: _Cells = {}
    escapes = "\\u" in text
    for written, value in members:
        head = heads.of(f"{name}:{line}", written)
        twice = head.name in cells
        if twice or isinstance(value, list) or (escapes and not _is_text(value)):
            record = dict(members).get("record")
            return _refuse(name, line, record, head.name, text, _wrong(value, twice))
        plain = value is None or (head.unit is None and isinstance(value, str))
        cells[head.name] = value if plain else _in_words(value, head.unit)
    return line, cells


def _wrong(value: object, twice: bool) -> str:
    if isinstance(value, list):
        return "is nested"
    return "stands twice" if twice else "has half of a surrogate pair"


def _is_text(value: Any) -> bool:
    try:
        str(value).encode()
    except UnicodeEncodeError:
        return False
    return True


def _in_words(value: str | bool, unit: str | None) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    return f"{value} {unit}" if re.fullmatch(NUMBER, value) else value


def _refuse(name: str, line: int, record: Any, field: str | None, text: str, why: str) -> Refused:
    id_ = shown(record) if isinstance(record, str) else None
    wanted = "one text, number, true, false or null" if field else "one JSON object per line"
    return Refused(name, line, id_, field, as_written(text), f"{wanted} ({why})")
