"""The fields of records, said in JSON Schema: what a row that a program sends may hold."""

from typing import Any

from marshmallow import fields

from qa_engine.facts.logged import meaning_of
from qa_engine.fields import (
    LONGEST_ID,
    LONGEST_NOTE,
    Day,
    Identifier,
    Instant,
    Quantity,
    RecordField,
    Text,
    Word,
    YesNo,
)
from qa_engine.records import KINDS

WITHOUT_UNIT = ("1", "count")
KIND_OF: dict[object, str] = {kind.schema: kind.name for kind in KINDS.values()}
OWN = {
    "record": "the id of the record, your own; no other record may have it",
    "kind": "the kind of record",
    "at": "when it was",
    "note": "free words",
}
"""What fields mean that are no facts."""


def record_property(field: fields.Field[Any], **_: Any) -> dict[str, Any]:
    """Return what JSON Schema says of a field of a record, and nothing of any other field."""
    if not isinstance(field, RecordField):
        return {}
    name = field.name or ""
    if name == "kind" and type(field.parent) in KIND_OF:
        return {"const": KIND_OF[type(field.parent)], "type": "string", "description": OWN["kind"]}
    shape = _shape(field)
    if not field.required:
        shape = _or_null(shape)
    meaning = OWN.get(name) or meaning_of(KIND_OF[type(field.parent)], name)
    return {**shape, "description": f"{meaning[:1].upper()}{meaning[1:]}: {field.expected}."}


def _shape(field: RecordField) -> dict[str, Any]:
    match field:
        case Quantity():
            return _quantity(field)
        case Word():
            return {"type": "string", "enum": list(field.words)}
        case YesNo():
            return {"type": ["boolean", "string"]}
        case Instant():
            return {"type": "string", "format": "date-time"}
        case Day():
            return {"type": "string", "format": "date"}
        case Identifier():
            return {"type": "string", "minLength": 1, "maxLength": LONGEST_ID}
        case Text():
            return {"type": "string", "maxLength": LONGEST_NOTE}
    return {}


def _quantity(field: Quantity) -> dict[str, Any]:
    number = "integer" if field.whole else "number"
    shape = {"type": [number, "string"], "minimum": field.low, "maximum": field.high}
    return shape if field.unit in WITHOUT_UNIT else {**shape, "x-unit": field.unit}


def _or_null(shape: dict[str, Any]) -> dict[str, Any]:
    """Return a shape that may be left out by a null as well."""
    types = shape["type"] if isinstance(shape["type"], list) else [shape["type"]]
    free = {**shape, "type": [*types, "null"]}
    return {**free, "enum": [*shape["enum"], None]} if "enum" in shape else free
