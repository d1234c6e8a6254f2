"""What answers are made of: schemas in which every member is always there."""

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

import polars as pl
from marshmallow import Schema, fields

from qa_engine.wording import rfc3339


class Answer(Schema):
    """A part of an answer; its members are always there, if only as null."""

    def on_bind_field(self, field_name: str, field_obj: fields.Field[Any]) -> None:
        field_obj.required = True


class Moment(fields.DateTime):
    """An instant in UTC, as RFC 3339 writes it."""

    def _serialize(self, value: Any, attr: str | None, obj: Any, **kw: Any) -> Any:
        # A report has them as text already.
        return rfc3339(value) if isinstance(value, datetime) else value


def schema_of(
    name: str,
    columns: Mapping[str, pl.DataType | type[pl.DataType]],
    told: Mapping[str, str],
    never_null: Iterable[str] = (),
) -> type[Schema]:
    """Return the schema of the rows of a frame, made from its columns.

    Args:
        name: what the specification calls it.
        columns: the type of each column.
        told: what a column means, with its unit, where its name does not say so.
        never_null: the columns that are filled in every row.
    """
    filled = set(never_null)
    made = {
        column: _field(dtype, column not in filled, told.get(column))
        for column, dtype in columns.items()
    }
    return Answer.from_dict(made, name=name)


def _field(
    dtype: pl.DataType | type[pl.DataType], may_be_null: bool, told: str | None
) -> fields.Field[Any]:
    sorts: dict[Any, type[fields.Field[Any]]] = {
        pl.String: fields.String,
        pl.Float64: fields.Float,
        pl.Int64: fields.Integer,
        pl.Boolean: fields.Boolean,
        pl.Date: fields.Date,
    }
    kind = Moment if dtype == pl.Datetime else sorts[dtype.base_type()]
    return kind(allow_none=may_be_null, metadata={"description": told} if told else {})
