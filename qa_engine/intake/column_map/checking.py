"""What a table of a map must also say so that its rows can be records."""

from collections import Counter
from collections.abc import Iterator, Mapping
from typing import Any

from qa_engine.errors import nearest
from qa_engine.fields import Quantity, Word, YesNo
from qa_engine.intake.column_map.column_map import DAY, TIME, Column, MappedTable
from qa_engine.intake.column_map.form import says
from qa_engine.intake.column_map.making import fits
from qa_engine.records import KINDS, RECORD_FIELDS

Fault = tuple[tuple[str | int, ...], str, str]
"""Where in the table, what is wrong, and what would do."""


def table_problems(table: MappedTable, written: Mapping[str, Any]) -> Iterator[Fault]:
    """Yield what is wrong with a table whose parts are each well written.

    Args:
        table: the table.
        written: the same as its form let it pass.
    """
    yield from _always(table)
    yield from _needed(table)
    yield from _twice(table)
    for at, column in enumerate(table.columns):
        place = ("columns", at)
        yield from ((place + path, message, help) for path, message, help in _column(column))
    zones = {one["time_zone"] for one in written["columns"] if "time_zone" in one}
    if len(zones) > 1:
        yield ("columns",), "the columns name different time zones", "one table has one"
    filled = {*(column.field for column in table.columns), *table.always}
    for key, names in (("where", table.where), ("record_from", table.record_from)):
        for name in names:
            if name not in filled:
                hint = nearest(name, sorted(filled)) or "name fields that a column fills"
                yield (key,), f"no column of this table fills '{name}'", hint


def _always(table: MappedTable) -> Iterator[Fault]:
    for name, value in table.always.items():
        if name not in RECORD_FIELDS or name in ("record", "at"):
            hint = nearest(name, RECORD_FIELDS)
            yield ("always", name), f"'{name}' cannot be said of every record", hint
        elif fault := says(name, value):
            yield ("always", name), f"'{name}': {fault}", ""


def _needed(table: MappedTable) -> Iterator[Fault]:
    filled = {*(column.field for column in table.columns), *table.always}
    if "at" not in filled:
        yield ("columns",), "no column says when it happened", "give one 'field: at'"
    if "kind" not in filled:
        help = "add 'kind: reading' or another, or give the column that says it 'field: kind'"
        yield (), "it is not said what kind of record its rows are", help
        return
    kind = KINDS.get(table.always.get("kind", ""))
    if kind is None:
        return
    lacking = [name for name, one in kind.fields.items() if one.required and name not in filled]
    for name in lacking:
        if name not in ("record", "at", "kind"):
            help = (
                f"give a column 'field: {name}', or say it of all rows: 'always: {{{name}: ...}}'"
            )
            yield (), f"every {kind.name} needs '{name}'", help
    for at, column in enumerate(table.columns):
        if column.field not in kind.fields:
            owners = ", ".join(one.name for one in KINDS.values() if column.field in one.fields)
            message = f"a {kind.name} has no field '{column.field}'"
            yield ("columns", at, "field"), message, f"it belongs to: {owners}"


def _twice(table: MappedTable) -> Iterator[Fault]:
    counted = Counter((column.field, column.part) for column in table.columns)
    for at, column in enumerate(table.columns):
        if counted[column.field, column.part] > 1 or column.field in table.always:
            yield ("columns", at, "field"), f"'{column.field}' is filled twice", "keep one"
    parts = {column.part for column in table.columns if column.field == "at"}
    if len(parts) > 1 and parts != {DAY, TIME}:
        yield ("columns",), "'at' has a whole column and one that is a part", "keep one way"
    if parts == {TIME}:
        yield ("columns",), "'at' has a time of day and no day", "give a column 'part: day'"


def _column(column: Column) -> Iterator[Fault]:
    if not column.head and not column.letter:
        yield (), "it is not said which column this is", "add 'head:' or 'column:'"
    field = RECORD_FIELDS[column.field]
    if column.part and column.field != "at":
        yield ("part",), f"only 'at' comes in parts, not '{column.field}'", "leave it out"
    if column.unit and not fits(column.field, column.unit):
        own = f"; it is in {field.unit}" if isinstance(field, Quantity) else ""
        message = f"'{column.field}' takes no {column.unit}{own}"
        yield ("unit",), message, "name another unit, or another field"
    for theirs, ours in column.words.items():
        if isinstance(field, Word | YesNo) and (fault := says(column.field, ours)):
            yield ("words",), f"'{theirs}': {fault}", ""
        if column.field == "kind" and ours not in KINDS:
            hint = nearest(ours, KINDS) or f"kinds are: {', '.join(KINDS)}"
            yield ("words",), f"'{theirs}': '{ours}' is no kind of record", hint
