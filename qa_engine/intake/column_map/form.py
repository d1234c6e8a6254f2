"""The form of a column map: which keys there are and what stands under each."""

import re
from typing import Any

from marshmallow import RAISE, Schema, ValidationError, fields

from qa_engine.errors import UnitError, nearest
from qa_engine.fields import HOUR_MINUTE, Quantity, RecordField, Text, TimeZone, Word, YesNo
from qa_engine.intake.column_map.column_map import (
    COMMA,
    DAY,
    DAY_FIRST,
    MONTH_FIRST,
    POINT,
    TIME,
    YEAR_FIRST,
)
from qa_engine.intake.text_encoding import ENCODINGS
from qa_engine.records import KINDS, RECORD_FIELDS
from qa_engine.units import unit

UNKNOWN = "unknown"
"""Marks a key that a mapping does not have; the reader words it."""

VERSION = "1"
LIST: dict[str, Any] = {
    "invalid": "a list is expected here",
    "null": "has no value",
    "required": "missing",
}
SEPARATOR_NAMES = {",": "comma", ";": "semicolon", "\t": "tab", "|": "upright stroke"}
"""What a column map calls each separator."""


class Strict(Schema):
    """A mapping that has no keys but those declared."""

    error_messages = {"unknown": UNKNOWN, "type": "keys and values are expected here"}  # noqa: RUF012 - as marshmallow declares it

    class Meta:
        unknown = RAISE


class FieldName(RecordField):
    """The name of a field of a record, or two with 'or' between: then the unit decides."""

    expected = "the name of a field, such as outlet_tds ('qa-engine facts' lists them)"

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kw: Any) -> tuple[str, ...]:
        names = tuple(re.split(r" +or +", str(value)))
        for name in names:
            if name not in RECORD_FIELDS:
                hint = nearest(name, RECORD_FIELDS)
                raise self.refuse(value, f"is no field ({hint})" if hint else "is no field")
        if len(names) > 1 and not all(isinstance(RECORD_FIELDS[n], Quantity) for n in names):
            raise self.refuse(value, "names fields that are not all numbers")
        return names


class UnitName(RecordField):
    """A unit of the closed list."""

    expected = "a unit such as gal, L, uS/cm or mg/L"

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kw: Any) -> str:
        try:
            return unit(str(value)).name
        except UnitError as error:
            raise self.refuse(value, f"cannot be used: {error}") from None


class HeadLines(RecordField):
    """The row on which heads stand, or a list of rows, the upper one first."""

    expected = "the number of a row, or a list such as [3, 4]"

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kw: Any) -> tuple[int, ...]:
        listed = value if isinstance(value, list) else [value]
        if not listed or not all(re.fullmatch("[1-9][0-9]{0,6}", str(one)) for one in listed):
            raise self.refuse(value, "is no row")
        return tuple(sorted(int(one) for one in listed))


class Texts(RecordField):
    """A text, or a list of texts."""

    expected = "a text, or a list of texts"

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kw: Any) -> tuple[str, ...]:
        listed = value if isinstance(value, list) else [value]
        if not all(isinstance(one, str) for one in listed):
            raise self.refuse(value, "does not hold texts only")
        return tuple(listed)


class Clock(RecordField):
    """A time of day."""

    expected = 'a time of day, such as "12:00"'

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kw: Any) -> str:
        if not re.fullmatch(HOUR_MINUTE, str(value)):
            raise self.refuse(value, "is no time of day")
        return str(value)


class Words(RecordField):
    """Their words and what each means in ours."""

    expected = "a mapping of their words to ours, such as {Reisebus: coach}"

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kw: Any) -> dict[str, str]:
        if not isinstance(value, dict) or not all(isinstance(one, str) for one in value.values()):
            raise self.refuse(value, "does not say for every word what it means")
        return {str(theirs): ours for theirs, ours in value.items()}


class ColumnForm(Strict):
    """One column."""

    head = Text()
    column = Text()
    field = FieldName(required=True)
    part = Word(DAY, TIME)
    unit = UnitName()
    decimal = Word(POINT, COMMA)
    date_order = Word(DAY_FIRST, MONTH_FIRST, YEAR_FIRST)
    time_zone = TimeZone()
    words = Words()
    carries_on = YesNo()


class Always(RecordField):
    """What every record of a table says, by field."""

    expected = "a mapping of fields to values, such as {van: Quill}"

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kw: Any) -> dict[str, str]:
        if not isinstance(value, dict):
            raise self.refuse(value, "is no mapping")
        wrong = {name: said for name, said in value.items() if not isinstance(said, str)}
        if wrong:
            raise self.refuse(wrong, "does not say a text for every field")
        return value


class TableForm(Strict):
    """One table."""

    sheet = Texts()
    head = HeadLines()
    kind = Word(*KINDS)
    always = Always()
    clock = Clock()
    time_zone = TimeZone()
    date_order = Word(DAY_FIRST, MONTH_FIRST, YEAR_FIRST)
    decimal = Word(POINT, COMMA)
    rows_left_out = Texts()
    nothing = Texts()
    where = Texts()
    record_from = Texts()
    columns = fields.List(
        fields.Nested(ColumnForm, error_messages={"null": "missing"}),
        required=True,
        error_messages=LIST,
    )
    columns_left_out = Texts()


class MapForm(Strict):
    """A column map."""

    column_map = Word(VERSION, required=True)
    answers = fields.Raw()
    time_zone = TimeZone()
    date_order = Word(DAY_FIRST, MONTH_FIRST, YEAR_FIRST)
    decimal = Word(POINT, COMMA)
    encoding = Word(*ENCODINGS)
    separator = Word(*SEPARATOR_NAMES.values())
    sheets_left_out = Texts()
    tables = fields.List(
        fields.Nested(TableForm, error_messages={"null": "missing"}),
        required=True,
        error_messages=LIST,
    )


def says(field_name: str, value: str) -> str:
    """Return why a field does not take a value that a map gives it, or an empty text."""
    try:
        RECORD_FIELDS[field_name].deserialize(value)
    except ValidationError as error:
        return str(error.messages[0])
    return ""
