"""The form of a permissions file: which keys there are and what stands under each."""

import re
from datetime import date
from typing import Any

from marshmallow import RAISE, Schema, ValidationError, fields

from qa_engine.fields import (
    CLOCK,
    DAY,
    Day,
    Identifier,
    Instant,
    Quantity,
    RecordField,
    Text,
    Word,
)
from qa_engine.permissions.permission import CONCESSION, DEVIATION_PERMIT, Moment

UNKNOWN = "unknown"
"""Marks a key that a mapping does not have; the reader words it."""

LONGEST_D = 90
"""The longest term of a permission where the file does not say [days]."""

MOST_LONGEST_D = 3650
_DAY, _INSTANT = Day(), Instant()


class MomentField(RecordField):
    """A whole day, or an instant with its offset."""

    expected = "a day written YYYY-MM-DD, or a time with its offset, such as 2026-03-01T08:15+01:00"

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kw: Any) -> Moment:
        text = str(value)
        if re.fullmatch(rf"{DAY}[Tt ]{CLOCK}", text):
            raise self.refuse(value, "has no offset from UTC")
        field = _DAY if re.fullmatch(DAY, text) else _INSTANT
        try:
            moment: date = field.deserialize(value)
        except ValidationError as error:
            raise self.refuse(value, getattr(error.messages[0], "why", "is not a time")) from None
        return moment


class Strict(Schema):
    """A mapping that has no keys but those declared."""

    error_messages = {"unknown": UNKNOWN, "type": "keys and values are expected here"}  # noqa: RUF012 - as marshmallow declares it

    class Meta:
        unknown = RAISE


class ScopeForm(Strict):
    """Where a permission holds."""

    van = Identifier()
    tank = Identifier()


class PermissionForm(Strict):
    """One permission."""

    class Meta:
        unknown = RAISE
        include = {"from": MomentField(required=True)}  # noqa: RUF012 - the way to declare a reserved word

    permission = Identifier(required=True)
    type = Word(CONCESSION, DEVIATION_PERMIT, required=True)
    rule = Text()
    rule_set = Text()
    scope = fields.Nested(ScopeForm, allow_none=True)
    reason = Text(required=True)
    requested_by = Identifier(required=True)
    approved_by = Identifier(required=True)
    requested_on = MomentField(required=True)
    approved_on = MomentField(required=True)
    until = MomentField(required=True)


class FileForm(Strict):
    """A permissions file; its permissions are checked one by one."""

    longest = Quantity("d", 1, MOST_LONGEST_D, whole=True)
    permissions = fields.List(
        fields.Raw(allow_none=True),
        required=True,
        error_messages={
            "required": "missing",
            "null": "has no value",
            "invalid": "a list is expected here",
        },
    )
