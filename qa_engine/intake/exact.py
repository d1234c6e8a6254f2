"""The exact way: one row at a time through its marshmallow schema."""

import re
from collections.abc import Iterator, Mapping
from typing import Any

import polars as pl
from marshmallow import Schema, ValidationError

from qa_engine.fields import NUMBER, RecordField
from qa_engine.intake.batch import LINE
from qa_engine.intake.refused import Refused, as_written, expectation
from qa_engine.records import KINDS

_PLAIN_NUMBER = re.compile(NUMBER)


def load_exactly(
    schema: Schema, source: str, cells: pl.DataFrame, units: Mapping[str, str]
) -> tuple[pl.DataFrame, list[Refused]]:
    """Return the rows that the schema takes, typed, and the problems of those it does not.

    Args:
        schema: of the kind of record that all rows are.
        source: the file, for the refusals.
        cells: a column per field as written, and ``LINE``.
        units: the units that column heads gave, by field.
    """
    taken: list[dict[str, Any]] = []
    refused: list[Refused] = []
    for row in cells.iter_rows(named=True):
        line = row.pop(LINE)
        written = {name: cell for name, cell in row.items() if not is_empty(cell)}
        try:
            values = schema.load({n: in_unit(c, units.get(n)) for n, c in written.items()})
            taken.append({**values, LINE: line})
        except ValidationError as error:
            refused += _problems(source, line, written, error)
    return _typed(schema, taken), refused


def is_empty(cell: object) -> bool:
    """Tell whether nothing, or nothing but spaces, is written in a cell."""
    return cell is None or (isinstance(cell, str) and not cell.strip(" "))


def in_unit(cell: Any, unit: str | None) -> Any:
    """Return a cell with the unit of its column written behind it, if it is a plain number."""
    if unit is None or isinstance(cell, bool):
        return cell
    text = str(cell).strip(" ")
    return f"{text} {unit}" if _PLAIN_NUMBER.fullmatch(text) else cell


def _typed(schema: Schema, rows: list[dict[str, Any]]) -> pl.DataFrame:
    filled = {name for row in rows for name in row}
    dtypes = {
        name: field.dtype
        for name, field in schema.fields.items()
        if name in filled and isinstance(field, RecordField)
    }
    return pl.DataFrame(rows, schema={**dtypes, LINE: pl.UInt32()})


def _problems(
    source: str, line: int, written: Mapping[str, Any], error: ValidationError
) -> Iterator[Refused]:
    record, kind = as_written(written.get("record")), str(written.get("kind"))
    for name, messages in error.messages_dict.items():
        for message in messages:
            expected = expectation(message) if _own(kind, name) else _foreign(kind, name)
            yield Refused(source, line, record, name, as_written(written.get(name)), expected)


def _own(kind: str, name: str) -> bool:
    return kind not in KINDS or name in KINDS[kind].fields


def _foreign(kind: str, name: str) -> str:
    owners = ", ".join(one.name for one in KINDS.values() if name in one.fields)
    article = "an" if kind[0] in "aeiou" else "a"
    return f"an empty cell ({article} {kind} has no field '{name}'; it belongs to: {owners})"
