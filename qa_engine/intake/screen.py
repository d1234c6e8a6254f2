"""The columnar check of records, compiled from their marshmallow schema.

It may be stricter than the schema, never laxer: what it passes, the schema would have taken with
the same values; what it does not pass is left to the schema. Of a schema, field or validator that
it does not know it passes nothing.
"""

from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

import polars as pl
from marshmallow import Schema, missing
from marshmallow.fields import Field

from qa_engine.fields import (
    CONTROL,
    FIRST_YEAR,
    LAST_YEAR,
    LONGEST_ID,
    LONGEST_NOTE,
    NO,
    YES,
    Day,
    Identifier,
    Instant,
    Quantity,
    RecordField,
    Text,
    Word,
    YesNo,
)
from qa_engine.fields import DAY as DAY_PATTERN
from qa_engine.intake.batch import LINE
from qa_engine.intake.instants import quick_instants, slow_instants
from qa_engine.intake.numbers import quick_numbers, slow_numbers

# Characters of which every edition of Unicode says that they can be printed.
_PRINTED = "!-~\\x{A1}-\\x{AC}\\x{AE}-\\x{24F}"
_IDENTIFIER = rf"^[{_PRINTED}](?:[ {_PRINTED}]{{0,{LONGEST_ID - 2}}}[{_PRINTED}])?$"
_ANSWERS = {word: word in YES for word in (*YES, *NO)}

_Quick = Callable[[pl.Expr, pl.DataType, Any, str | None], pl.Expr]


@dataclass(frozen=True)
class Sifted:
    """Rows after the columnar check.

    Attributes:
        passed: the rows it passed, typed, with ``LINE``; only columns with values.
        left: the other rows, as they were written.
        unmeasured: how many cells of each field hold NaN or infinity.
    """

    passed: pl.DataFrame
    left: pl.DataFrame
    unmeasured: Counter[str]


def _quick_word(column: pl.Expr, field: Word) -> pl.Expr:
    return pl.when(column.is_in(field.words)).then(column)


def _quick_text(column: pl.Expr, field: Text) -> pl.Expr:
    short = column.str.len_bytes() <= LONGEST_NOTE
    fits = short & column.str.contains("[^ ]") & ~column.str.contains(CONTROL)
    return pl.when(fits).then(column)


def _quick_answer(column: pl.Expr, dtype: pl.DataType) -> pl.Expr:
    if dtype == pl.Boolean:
        return column
    text = column.str.to_lowercase()
    return text.replace_strict(_ANSWERS, default=None, return_dtype=pl.Boolean)


def _quick_day(column: pl.Expr, dtype: pl.DataType) -> pl.Expr:
    if dtype == pl.Date:
        return pl.when(column.dt.year().is_between(FIRST_YEAR, LAST_YEAR)).then(column)
    written = pl.when(column.str.contains(f"^{DAY_PATTERN}$")).then(column)
    return written.str.to_date("%Y-%m-%d", strict=False)


_QUICK: dict[type[RecordField], _Quick] = {
    Quantity: lambda column, dtype, field, unit: quick_numbers(
        column, dtype, field, unit or field.unit
    ),
    Identifier: lambda column, *_: pl.when(column.str.contains(_IDENTIFIER)).then(column),
    Text: lambda column, _, field, __: _quick_text(column, field),
    Word: lambda column, _, field, __: _quick_word(column, field),
    YesNo: lambda column, dtype, *_: _quick_answer(column, dtype),
    Day: lambda column, dtype, *_: _quick_day(column, dtype),
    Instant: lambda column, dtype, *_: quick_instants(column, dtype),
}
"""How the columns of each sort of field are checked; no other sort is known here."""


def sift(schema: Schema, cells: pl.DataFrame, units: Mapping[str, str]) -> Sifted:
    """Pass the rows that the schema would take, as typed columns.

    Args:
        schema: of the kind of record that all rows are.
        cells: a column per field as written, and ``LINE``.
        units: the units that column heads gave, by field.
    """
    if not _understood(schema):
        return Sifted(cells.clear().select(LINE), cells, Counter())
    fields: dict[str, Any] = dict(schema.fields)
    own = [cells[name] for name in cells.columns if name in fields and _filled(cells[name])]
    columns = _columns(cells, own, fields, units)
    passes = _no_foreign_cells(cells, fields)
    for column in columns.values():
        passes = passes if column.taken is None else passes & column.taken
    for name in (name for name, field in fields.items() if field.required):
        there = columns[name].values.is_not_null() if name in columns else pl.Series([False])
        passes = passes & there
    values = pl.DataFrame([cells[LINE], *(column.values for column in columns.values())])
    unmeasured = Counter({name: column.unmeasured for name, column in columns.items()})
    if passes.all():
        return Sifted(_with_values(values), cells.clear(), +unmeasured)
    return Sifted(_with_values(values.filter(passes)), cells.filter(~passes), +unmeasured)


class _Column(NamedTuple):
    values: pl.Series
    taken: pl.Series | None = None
    unmeasured: int = 0


def _columns(
    cells: pl.DataFrame,
    own: list[pl.Series],
    fields: Mapping[str, Any],
    units: Mapping[str, str],
) -> dict[str, _Column]:
    looks = [
        _QUICK[type(fields[name])](pl.col(name), column.dtype, fields[name], units.get(name)).alias(
            name
        )
        for column in own
        if (name := column.name)
    ]
    # Only a lazy frame takes a step once that stands in an expression several times.
    quick = cells.lazy().select(looks).collect()
    return {
        column.name: _column(
            column, quick[column.name], fields[column.name], units.get(column.name)
        )
        for column in own
    }


def _column(cells: pl.Series, quick: pl.Series, field: Any, unit: str | None) -> _Column:
    """Return a column after a second look at the cells that the quick look did not take."""
    if quick.null_count() == cells.null_count():
        return _Column(quick)
    places = (cells.is_not_null() & quick.is_null()).arg_true()
    rest = cells.gather(places)
    values, unmeasured = _slow(rest, field, unit)
    taken = values.is_not_null() | unmeasured | _blank(rest)
    everywhere = pl.repeat(True, len(cells), eager=True).scatter(places, taken)
    return _Column(quick.scatter(places, values), everywhere, int(unmeasured.sum()))


def _slow(cells: pl.Series, field: Any, unit: str | None) -> tuple[pl.Series, pl.Series]:
    none = pl.repeat(False, len(cells), eager=True)
    if isinstance(field, Quantity):
        return slow_numbers(cells, field, unit or field.unit)
    if isinstance(field, Instant):
        return slow_instants(cells, field), none
    return pl.repeat(None, len(cells), dtype=field.dtype, eager=True), none


def _no_foreign_cells(cells: pl.DataFrame, fields: Mapping[str, Any]) -> pl.Series:
    passes = pl.repeat(True, cells.height, eager=True)
    for column in cells:
        if column.name not in fields and column.name != LINE and _filled(column):
            passes &= column.is_null() | _blank(column)
    return passes


def _blank(column: pl.Series) -> pl.Series:
    if column.dtype != pl.String:
        return column.is_null()
    return (column.str.strip_chars(" ") == "").fill_null(True)


def _filled(column: pl.Series) -> bool:
    return column.null_count() < len(column)


def _with_values(frame: pl.DataFrame) -> pl.DataFrame:
    return frame.select(column for column in frame if column.name == LINE or _filled(column))


def _understood(schema: Schema) -> bool:
    """Tell whether nothing in the schema can say no, or change a value, unknown to the screen."""
    return not any(type(schema).resolve_hooks().values()) and all(
        type(field) in _QUICK and _plain(field) for field in schema.fields.values()
    )


def _plain(field: Field[Any]) -> bool:
    acts = (*field.validators, *field.pre_load, *field.post_load)
    named = field.data_key is not None or field.attribute is not None
    lenient = field.allow_none or field.dump_only or field.load_default is not missing
    return not (acts or named or lenient)
